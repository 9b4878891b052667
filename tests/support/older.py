"""An invented road by station, whose earlier revisions the tests make up."""

SHOT = "id,northing,easting,elevation"
HEAD = """[job]
title = "Invented road"
unit = "metre"
[measured]
files = ["shots.csv"]
[tolerance.t]
along = "0.03 m"
across = "0.03 m"
vertical = "0.03 m"
"""
ROAD = """[alignment.CL]
elements = "cl.csv"
start = "0+100"
profile = "profile.csv"
"""
STAKED = """[[stakeout]]
name = "Stakes"
design = { stakes = "stakes.csv" }
match = "station"
alignment = "CL"
tolerance = "t"
"""
ELEMENTS = "type,length,northing,easting,azimuth\nline,300,{n},2000,90\n"
PROFILE = "station,elevation\n0+100,{z}\n0+400,{z}\n"
STAKES = "id,station,offset\nA,0+150,5\nB,0+200,-5\nC,0+250,5\n"
