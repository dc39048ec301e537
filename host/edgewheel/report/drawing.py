"""Pictures drawn: as SVG for a page without scripts, and the script that draws them live.

Vega-Lite does both from one specification; `vl_convert` holds it and needs no network and no
browser. It is a large library, so it is imported when a page is made and not before.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

from edgewheel.errors import UsageError

DRAW = "window.edgewheelDraw = vegaEmbed;"
"""What the bundle leaves for the page's own script."""


def load() -> Any:
    """The library. Raises UsageError that says what to install."""
    try:
        import vl_convert
    except ImportError as error:
        raise UsageError(
            "A page with pictures needs the extra 'report': pip install 'edgewheel[report]' "
            "(in the project's folder: pip install '.[report]'). JUnit XML and JSON need nothing."
        ) from error
    return vl_convert


def static_svg(spec: Mapping[str, Any]) -> str:
    """The picture as it stands without scripts. Colours stay CSS variables.

    It is hidden from screen readers: what stands around it says more than its shapes do.
    """
    still = {**spec, "layer": [_still(layer) for layer in spec["layer"]]}
    svg = str(load().vegalite_to_svg(still))
    return svg.replace("<svg ", '<svg aria-hidden="true" ', 1)


@cache
def script() -> str:
    """Vega, Vega-Lite and Vega-Embed as one script of about 0.9 MB; bundling takes a second."""
    return str(load().javascript_bundle(DRAW)).replace("</script", "<\\/script")


def _still(layer: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in layer.items() if key != "params"}
