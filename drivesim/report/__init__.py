"""Results as one page that opens from disk: ``write_report`` and what it is made of; jinja2 is used only here."""
