"""Texts of TOML in all the layouts that people and programs write."""

#: Everything that may stand where a careless reader would not look for it.
ODD = (
    """\
# a plan  \t
[site]
name = "farm" # [[option]]
about = '''
[[option]]
name = "south"
'''
more = \"\"\"
[x] \\
  y\"\"\"\"\"
[[option]] # first
name = "north"
# the pole by the gate
[[option.detector]]
  name   = "D1"  # the pole
\tbearing=135
[["option"]]
name = "south"
combine = 'any'

[[ option . detector ]]
name = "D1" # keep out
# said after

# said of the mount
[[mount]]
name = "pole"
at = [0,
  1, # east
]
# end""",
    """\
site = { name = "in braces", crs = "EPSG:32631" }
ground.plane.fall = 12
ground.plane.towards = 180
ground.plane.extent = 40
mount = [{ name = "a", at = [0, 1] }, {name="b",at=[2.5,3]}]
protect = [
    { name = "yard", outline = [[0, 0], [4, 0], [4, 4]] }, # the first
    # the second
    { name = "drive", outline = [[10, 0], [14, 0], [14, 4]], weight = 2 },
]
option = [{ name = "x", detector = [{ name = "D1", mount = "a" }] }]
""",
    """\
[ground.plane]
fall = 1
[ground]
photo = "a.tif"
[[solid]]
"name" = 'x'
path = [
  [0, 0]
  , [1, 0] # two
  ,
  [1, 1]
]
[solid.more]
day = 1979-05-27 07:32:00
[[solid.more.list]]
a.b."c d" = true
[[solid]]
height = 0x1F
thickness = +1_000.5e-3
""",
)


def in_lines_of(text: str, newline: str) -> str:
    """The text with its lines ended so."""
    return text.replace("\n", newline)
