"""The page for those who do not use a terminal: scores in, reports, versions and handouts out.

uploads   what people give: bounded, under names of our own
tasks     reports and handouts, in bounded child processes
changes   what is done with one score: drafts, versions, small changes
desk      what is there and how far it is, one thing after the other
guard     who may ask: this page in this browser, and nobody else
app       addresses and templates
serve     the server, on this computer only
"""
