"""The page for those who do not use a terminal: scores in, reports and handouts out.

uploads   what people give: bounded, under names of our own
tasks     what is done with it, in bounded child processes
desk      what is there and how far it is, one thing after the other
guard     who may ask: this page in this browser, and nobody else
app       addresses and templates
serve     the server, on this computer only
"""
