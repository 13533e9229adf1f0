"""What the rooms share and no shop noun belongs to: fields, guards of frozen tables, the PDF writer,
middleware.
"""
