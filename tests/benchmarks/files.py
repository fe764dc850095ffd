"""Drawings as files, for the benchmarks of the readers."""

from pathlib import Path

from tree import tree_drawing

from elbowroom.layout import write_gltf

_HEAD = """ISO-10303-21;
HEADER;
FILE_DESCRIPTION((''),'2;1');
FILE_NAME('','',(''),(''),'','','');
FILE_SCHEMA(('IFC4'));
ENDSEC;
DATA;
#1=IFCSIUNIT(*,.LENGTHUNIT.,.MILLI.,.METRE.);
#2=IFCUNITASSIGNMENT((#1));
#3=IFCCARTESIANPOINT((0.,0.,0.));
#4=IFCAXIS2PLACEMENT3D(#3,$,$);
#5=IFCGEOMETRICREPRESENTATIONCONTEXT($,'Model',3,1.E-05,#4,$);
#6=IFCPROJECT('0000000000000000000000',$,'p',$,$,$,$,(#5),#2);
#7=IFCDIRECTION((1.,0.,0.));
#8=IFCDIRECTION((0.,1.,0.));
#9=IFCDIRECTION((0.,0.,1.));
#10=IFCCARTESIANPOINT((0.,0.));
#11=IFCAXIS2PLACEMENT2D(#10,$);
#12=IFCRECTANGLEPROFILEDEF(.AREA.,$,#11,600.,300.);
"""


def glb_file(folder: Path, count: int) -> Path:
    """A tree of that many segments, each in a node of its own with its extras."""
    path = folder / "tree.glb"
    write_gltf(tree_drawing(count), path)
    return path


def ifc_file(folder: Path, count: int) -> Path:
    """That many swept duct segments of 1 m, a hundred of them end to end."""
    parts = [_HEAD]
    for number in range(count):
        n = 100 + 7 * number
        x, y = number % 100 * 1000.0, number // 100 * 2000.0
        parts.append(
            f"#{n}=IFCCARTESIANPOINT(({x:.1f},{y:.1f},0.));\n"
            f"#{n + 1}=IFCAXIS2PLACEMENT3D(#{n},#7,#8);\n"
            f"#{n + 2}=IFCLOCALPLACEMENT($,#{n + 1});\n"
            f"#{n + 3}=IFCEXTRUDEDAREASOLID(#12,#4,#9,1000.);\n"
            f"#{n + 4}=IFCSHAPEREPRESENTATION(#5,'Body','SweptSolid',(#{n + 3}));\n"
            f"#{n + 5}=IFCPRODUCTDEFINITIONSHAPE($,$,(#{n + 4}));\n"
            f"#{n + 6}=IFCDUCTSEGMENT('{number:022d}',$,'duct {number}',$,$,#{n + 2},"
            f"#{n + 5},$,.RIGIDSEGMENT.);\n"
        )
    parts.append("ENDSEC;\nEND-ISO-10303-21;\n")
    path = folder / "ducts.ifc"
    path.write_text("".join(parts))
    return path
