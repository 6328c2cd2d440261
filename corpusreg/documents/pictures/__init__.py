"""Pictures as SVG: numbers -> text of a drawing, without a drawing library.

Every function takes plain data and gives a `Picture` (see `svg`). What a page may rely
on: colours stand in attributes (the light palette) and every coloured thing has a class
of `look.ROLES`, so that `look.css()` gives light and dark; ids begin with the prefix
that the caller gives; nothing in a picture is script, and text is text.
"""
