"""Charts as SVG text of our own: one drawing for page, file and print.

Why not by a charting library: every point is a link to its unit with a name for screen readers, the same drawing
follows both themes and grey print through the page's classes, and a page draws six of them in a few milliseconds.
In a page the colours come from static/css/trends.css; `inks.inked` writes them into a file that stands alone.
Shapes carry the meaning, colour repeats it: dashes are control limits, heavy lines are limits of the plan, a diamond is
a signal, a cross is out of band, a hollow dot is a corrected or repeated value, a square was inspected again later.
"""
