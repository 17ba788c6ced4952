"""The wording of all messages: pushes, full sheets and the weekly mail, from macros and facts."""
