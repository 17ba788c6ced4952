"""Words: a sheet, a change, a reminder or an alarm as a push, a text, or the week's page."""
