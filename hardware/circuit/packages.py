"""The packages that parts come in, and whether a hand with an iron can place them."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Package:
    """`pitch_mm` is the distance of neighbouring leads as they are soldered."""

    name: str
    pins: int
    pitch_mm: float
    through_hole: bool = True

    @property
    def hand_solderable(self) -> bool:
        """Leads through holes, 2.54 mm apart or more: any iron, any perforated board."""
        return self.through_hole and self.pitch_mm >= 2.54


PACKAGES = {
    package.name: package
    for package in (
        Package("axial 6 mm, quarter watt", 2, 10.16),
        Package("axial 9 mm, half watt", 2, 12.7),
        Package("axial 12 mm, one watt", 2, 15.24),
        Package("axial 16 mm, two watts", 2, 20.32),
        Package("disc 5 mm", 2, 5.08),
        Package("film box 7 mm", 2, 5.08),
        Package("radial can 8 mm", 2, 3.5),
        Package("radial can 13 mm", 2, 5.08),
        Package("radial LED 3 mm", 2, 2.54),
        Package("DO-35", 2, 7.62),
        Package("DO-41", 2, 10.16),
        Package("DO-15", 2, 12.7),
        Package("DO-201", 2, 15.24),
        Package("TO-92, leads spread", 3, 2.54),
        Package("TO-220", 3, 2.54),
        Package("DIP-8", 8, 2.54),
        Package("DIP-14", 14, 2.54),
        Package("SIP-8", 8, 2.54),
        Package("trimmer 9 mm", 3, 2.54),
        Package("line transformer", 4, 5.08),
        Package("fuse holder", 2, 15.0),
        Package("pin strip 2", 2, 2.54),
        Package("pin strip 3 and a pin beside its middle", 4, 2.54),
        *(Package(f"screw terminals {n}", n, 5.08) for n in (4, 5, 8, 12)),
        Package("socket strip 20", 20, 2.54),
        Package("wire", 2, 2.54),
    )
}
