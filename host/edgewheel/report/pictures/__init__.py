"""From evidence to pictures: one module a kind, each a Vega-Lite specification."""
