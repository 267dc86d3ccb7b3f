"""GDAL's validate_geoparquet.py on a file, where GDAL itself was built without its Parquet driver.

Usage: geoparquet.py SCHEMA FILE…. The validator's own checks run; what it asks GDAL's driver for (the file's metadata, its
columns, its rows) comes from pyarrow. Prints OK, or the validator's errors, and ends with 1 if there is any.
"""

import contextlib
import sys
import types

import pyarrow.parquet
from osgeo import gdal, ogr, osr
from osgeo_utils.samples import validate_geoparquet

for module in (gdal, ogr, osr):
    module.UseExceptions()
    if not hasattr(module, "ExceptionMgr"):
        module.ExceptionMgr = lambda useExceptions: contextlib.nullcontext()

# The validator's table has "Point" for a point with a height, where the standard has "Point Z".
validate_geoparquet.map_ogr_geom_type_to_geoparquet[ogr.wkbPoint25D] = "Point Z"

schema, *paths = sys.argv[1:]


class Layer:
    def __init__(self, path):
        self.file = pyarrow.parquet.ParquetFile(path)

    def GetMetadataItem(self, key, domain):
        value = (self.file.schema_arrow.metadata or {}).get(key.encode())
        return value.decode() if value is not None else None

    def SetIgnoredFields(self, names):
        pass

    def GetLayerDefn(self):
        names = [n for n, t in zip(self.file.schema_arrow.names, self.file.schema_arrow.types) if str(t) == "binary"]
        field = lambda index: types.SimpleNamespace(GetName=lambda: names[index])
        return types.SimpleNamespace(
            GetFieldCount=lambda: 0, GetGeomFieldCount=lambda: len(names), GetGeomFieldDefn=field
        )

    def GetArrowStreamAsNumPy(self, options):
        for batch in self.file.iter_batches():
            yield batch.to_pydict()


validate_geoparquet.gdal = types.SimpleNamespace(
    GetDriverByName=lambda name: name,
    OpenEx=lambda name, allowed_drivers: types.SimpleNamespace(GetLayer=lambda index: Layer(name)),
    ExceptionMgr=gdal.ExceptionMgr,
    VersionInfo=gdal.VersionInfo,
)
errors = [e for path in paths for e in validate_geoparquet.check(path, check_data=True, local_schema=schema)]
print("\n".join(errors) or "OK")
sys.exit(1 if errors else 0)
