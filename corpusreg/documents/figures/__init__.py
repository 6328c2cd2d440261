"""Pictures: numbers to axes and files. Only here is matplotlib used."""
