"""The console: a listener on bench/ and search/ that draws with Textual, and nothing more.

Everything it does, the command line does too. The folders mirror the screen: `live/`, `search/`
and `runs/` are its three pages, `dialogs/` what lies over them. `desk` holds the plan and the
bench, `watch` what was heard of late; neither knows a widget.
"""
