"""Paper: what is handed over.

A verdict becomes a PDF for the archive, one HTML file, a workbook or JSON. All four say the same:
`lungwort.paper.content` holds what is said, the other modules only set it.
"""
