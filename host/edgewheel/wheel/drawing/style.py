"""The looks of all drawings: dark ink, grey metal, marks that differ in shape as in colour."""

STYLE = """
.paper{fill:#fff}
text{font-family:"DejaVu Sans",Verdana,sans-serif;font-size:12px;fill:#17252b}
.title{font-size:20px;font-weight:bold}
.heading{font-size:15px;font-weight:bold}.name{font-size:12px;font-weight:bold}
.small{font-size:11px}.halo{paint-order:stroke;stroke:#fff;stroke-width:3px}.tiny{font-size:9.5px}
.mid{text-anchor:middle}.end{text-anchor:end}
.quiet{fill:#4b5b62}
.metal{fill:#c3ced2;stroke:#17252b;stroke-width:1;stroke-linejoin:round}
.mark{fill:#17252b;stroke:#17252b;stroke-width:1}
.hole{fill:#fff;stroke:#17252b;stroke-width:1}
.ink{fill:none;stroke:#17252b;stroke-width:1.4;stroke-linejoin:round}
.thin{fill:none;stroke:#4b5b62;stroke-width:.8}
.fine{fill:none;stroke:#17252b;stroke-width:.9;stroke-linejoin:round}
.hair{fill:none;stroke:#17252b;stroke-width:.5}
.zero{fill:none;stroke:#9aa8ad;stroke-width:.8}
.arrow{fill:none;stroke:#17252b;stroke-width:2}
.head{fill:#17252b}
.gap{fill:none;stroke:#0b6b5b;stroke-width:2.4}
.band{fill:#d9ece7}
.tdc{fill:none;stroke:#b3400e;stroke-width:1.2;stroke-dasharray:6 3}
.tdchead{fill:#b3400e}
.tdcword{fill:#8f330b;font-weight:bold}
.gapword{fill:#0b5347;font-weight:bold}
""".strip()
