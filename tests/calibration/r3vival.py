"""A measured room in three states, and files that describe it; shared by the tests.

R3VIVAL: variable laboratory, shoebox 9.7 x 5.5 x 2.7 m, wall panels (82.1 m2, an even share on all
four walls) turned absorptive by 0, 50 or 100 %. T20 and T30 in s, 125 Hz to 8 kHz, computed from
the impulse responses of 30 source positions in the open data set (R3VIVAL repository, Meta Reality
Labs, CC BY 4.0). Spread: standard deviation over the positions.

What floor, ceiling and panels are made of is not stated. Their coefficients are therefore taken as
unknown, each known to a factor of two either way: one flat value for all that is not turned
absorptive (what Eyring's formula asks of the whole room at 0 %), another for the absorptive panels.
"""

from pathlib import Path

BANDS = (125, 250, 500, 1000, 2000, 4000, 8000)
T20 = {
    0: (0.468, 0.705, 0.718, 0.675, 0.640, 0.578, 0.441),
    50: (0.415, 0.579, 0.569, 0.494, 0.414, 0.352, 0.273),
    100: (0.469, 0.529, 0.499, 0.437, 0.351, 0.256, 0.190),
}
T30 = {
    0: (0.461, 0.735, 0.743, 0.689, 0.656, 0.584, 0.459),
    50: (0.439, 0.603, 0.582, 0.501, 0.425, 0.355, 0.275),
    100: (0.478, 0.557, 0.522, 0.452, 0.368, 0.265, 0.195),
}
SPREAD = (0.065, 0.06, 0.04, 0.025, 0.025, 0.025, 0.025)
POSITIONS = 30
SIZE = (9.7, 5.5, 2.7)
STRIP = 0.6  # m, width of a panel; not stated, invented
WALLS = {"front": SIZE[1], "back": SIZE[1], "left": SIZE[0], "right": SIZE[0]}

MATERIALS = {  # id: (coefficient, standard deviation)
    "shell_unknown": (0.16, 0.16),
    "panel_hard": (0.16, 0.16),
    "panel_soft": (0.50, 0.50),
}


def decay_csv(state: int) -> str:
    """The measured decay of a state as a decay file."""
    rows = zip(BANDS, T20[state], T30[state], SPREAD, strict=True)
    lines = [f"{band},{t:.3f},{late:.3f},{s:.3f},{POSITIONS}" for band, t, late, s in rows]
    return "band_hz,t20_s,t30_s,spread_s,positions\n" + "\n".join(lines) + "\n"


def materials_csv(scattering: float = 0.05) -> str:
    """Own material rows: flat coefficients, wide uncertainty, one scattering for all."""
    bands = (63, *BANDS)
    heading = ["id", "name", "unit", *(f"{c}{b}" for c in ("a", "sd", "s") for b in bands)]
    lines = [",".join(heading)]
    for id, (alpha, sigma) in MATERIALS.items():
        cells = [id, f"{id} of the laboratory", "alpha"]
        lines.append(",".join([*cells, *[str(alpha)] * 8, *[str(sigma)] * 8,
                               *[str(scattering)] * 8]))  # fmt: skip
    return "\n".join(lines) + "\n"


def room_toml() -> str:
    """The room file: panels turned to their hard side, and the other states as variants."""
    hard = "".join(f'{name} = "panel_hard"\n' for name in WALLS)
    soft = ", ".join(f'{name} = "panel_soft"' for name in WALLS)
    return (
        'title = "variable laboratory"\nmaterials = "materials.csv"\n'
        f"[room]\nlength = {SIZE[0]}\nwidth = {SIZE[1]}\nheight = {SIZE[2]}\n"
        f'[surfaces]\n{hard}floor = "shell_unknown"\nceiling = "shell_unknown"\n'
        '[[speakers]]\nname = "a"\nat = [1.5, 2.0, 1.2]\n'
        '[[speakers]]\nname = "b"\nat = [1.5, 3.5, 1.2]\n'
        '[[seats]]\nname = "centre"\nat = [4.85, 2.75, 1.2]\n'
        '[budget]\namount = 0\ncatalogue = "prices.csv"\n'
        f'[variants.soft]\nsays = "all panels absorptive"\nsurfaces = {{ {soft} }}\n'
        f'[variants.half]\nsays = "every second panel absorptive"\nadd_areas = [\n{_strips()}]\n'
    )


def _strips() -> str:
    """Upright strips over half of each wall, as many as fit by twos."""
    text = ""
    for name, length in WALLS.items():
        count = int(length / (2 * STRIP))
        width = length / (2 * count)
        for i in range(count):
            text += (
                f'  {{ surface = "{name}", kind = "finish", material = "panel_soft", '
                f"at = [{2 * i * width:.4f}, 0.0], size = [{width:.4f}, {SIZE[2]}] }},\n"
            )
    return text


PRICES = (
    "id,name,kind,width,height,depth,turn,mountings,gaps,materials,faces,price,pack,owned\n"
    "wool,wool panel,panel,0.6,1.2,0.1,yes,wall,0,mineral_wool_100_wall,1,84.90,1,0\n"
)


VARIANT = {0: None, 50: "half", 100: "soft"}


def lay_out(folder: Path, scattering: float = 0.05) -> Path:
    """All files in a folder; returns the room file."""
    (folder / "prices.csv").write_text(PRICES)
    (folder / "materials.csv").write_text(materials_csv(scattering))
    for share in T20:
        (folder / f"decay_{share}.csv").write_text(decay_csv(share))
    (folder / "room.toml").write_text(room_toml())
    return folder / "room.toml"
