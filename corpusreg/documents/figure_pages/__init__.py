"""Pages and folders of figures: register by period, and the repertoire atlas."""
