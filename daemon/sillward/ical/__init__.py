"""The chores as an iCalendar file."""
