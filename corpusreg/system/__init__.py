"""What everything stands on: errors, settings, whole files, bounded processes.

It knows nothing of music. Every error that people may meet is one line from `errors`;
files are whole or not there (`writing`); what may crash or balloon runs in a child
process (`isolate`).
"""
