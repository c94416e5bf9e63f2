"""What surfaces, layered builds and objects absorb and scatter, and who says so."""

from materials.table import (
    Material,
    MaterialDataError,
    MaterialTable,
    Source,
    UnknownMaterial,
    load_table,
)

__all__ = [
    "Material",
    "MaterialDataError",
    "MaterialTable",
    "Source",
    "UnknownMaterial",
    "load_table",
]
