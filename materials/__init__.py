"""What surfaces, layered builds and objects absorb and scatter, and who says so."""

from materials.table import (
    Material,
    MaterialTable,
    Source,
    UnknownMaterial,
    load_table,
)
from materials.table_files import MaterialDataError

__all__ = [
    "Material",
    "MaterialDataError",
    "MaterialTable",
    "Source",
    "UnknownMaterial",
    "load_table",
]
