"""The plan of the second ranch: four blocks, metric, southern hemisphere, tables in Spanish."""

from __future__ import annotations

import datetime as dt

from drawing.plans import Block, Climate, Crop, Dialect, Fault, Part, Ranch, Visit

HEADER = (
    "Árbol", "Fecha y hora", "Longitud", "Latitud", "Presión (MPa)", "Segunda lectura (MPa)", "Embolsado",
    "Cámara", "Cuadrilla", "Hoja", "Nota",
)  # fmt: skip

CROPS = {
    "prune": Crop((("11-01", -6.0), ("02-01", -14.0)), -10.0, -4.1, -1.2, 5.0, 4.0),
    "almond": Crop(
        (("10-01", -8.0), ("12-15", -10.0), ("01-01", -13.0), ("01-15", -14.0), ("02-20", -13.0)),
        -10.0, -4.1, -1.2, 6.0, 5.0,
    ),
}  # fmt: skip

BLOCKS = (
    Block(
        "El Álamo", "AL", "prune", "tipo francés", 2008, "drip", 1.0, -0.4, (6,),
        (Part(((0, 0), (262, 0), (264, 248), (1, 250)), (2, 2)),),
    ),
    Block(
        "La Cañada", "CA", "prune", "tipo francés", 2010, "drip", 1.0, 0.5, (5,),
        (Part(((272, 0), (505, 0), (548, 120), (520, 247), (274, 248)), (2, 2)),),
    ),
    Block(
        "El Bajo", "BA", "prune", "tipo francés", 2015, "micro_sprinkler", 1.0, -0.9, (4,),
        (Part(((0, 260), (198, 260), (199, 452), (22, 455)), (1, 1, 1)),),
    ),
    Block(
        "La Curva", "CU", "almond", "cáscara blanda", 2013, "drip", 1.0, 0.3, (6,),
        (
            Part(
                (
                    (208, 260), (519, 258), (505, 300), (484, 340), (456, 377), (421, 408), (380, 433),
                    (334, 450), (285, 459), (209, 461),
                ),
                (3, 2),
            ),
        ),
    ),
)  # fmt: skip

SOUTH = Ranch(
    name="Fundo Cuatro Vientos",
    seed=20260120,
    epsg=32719,
    origin=(315_300.0, 6_181_200.0),
    turn_deg=-11.0,
    blocks=BLOCKS,
    sand=((100, -20), (160, 200), (330, 300), (430, 470)),
    faults=(
        Fault("CA3", 3.3, dt.date(2025, 12, 1), "filter clogged"),
        Fault("CU5", 2.8, dt.date(2025, 12, 15), "sets missed"),
        Fault("BA1", -1.4, dt.date(2025, 11, 1), "leaks, runs wet"),
    ),
    visits=(Visit((dt.date(2026, 1, 20),), 1.0, 1.0, ("short_bag", "no_value", "sign_read_as_potential")),),
    crops=CROPS,
    climate=Climate(
        start=dt.date(2025, 11, 1),
        end=dt.date(2026, 1, 31),
        warmest=dt.date(2026, 1, 18),
        max_c=33.5,
        spring_drop_c=11.0,
        hot_spell=(dt.date(2026, 1, 3), dt.date(2026, 1, 7)),
        latitude=-34.5,
        solar_noon=13.8,
    ),
    dialect=Dialect(
        separator=";",
        decimal=",",
        time="%d/%m/%Y %H:%M",
        unit_bar=10.0,
        header=HEADER,
        notes=("maleza alta", "hoja con polvo", "poca presión; revisar"),
        on_the_way="de paso al galpón",
        broke="se quebró el pecíolo",
        pump="Bomba",
    ),
)
