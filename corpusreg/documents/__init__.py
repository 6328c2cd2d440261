"""What people look at: maps, figures, notation, reports, handouts.

Documents read findings and sentences; they work nothing out.
"""
