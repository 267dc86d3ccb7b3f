"""Reads a CSV, reprojects its points, writes GeoJSON: geopandas_peer.py IN OUT."""
import sys
import geopandas, pandas

table = pandas.read_csv(sys.argv[1])
places = geopandas.GeoDataFrame(table, geometry=geopandas.points_from_xy(table.longitude, table.latitude), crs="EPSG:4326")
places.to_crs("EPSG:26910").to_file(sys.argv[2], driver="GeoJSON", engine="pyogrio")
