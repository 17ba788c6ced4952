"""The wording of all messages: pushes, full sheets and the week's page, from macros and facts."""
