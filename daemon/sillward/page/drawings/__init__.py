"""Charts as the page draws them: data of `sillward.charts.data` laid out for the width of a phone.

A drawing holds positions and words; `templates/_drawings.html` makes SVG of it.
"""
