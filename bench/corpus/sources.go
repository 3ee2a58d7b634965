package corpus

// By tells how a file's mesh is got.
type By int

const (
	ByUs     By = iota // read by mouldwright's own readers
	ByAssimp           // turned into STL by the assimp command, then read
	ByNPM              // written as OBJ by export.mjs from an npm package, then read
)

func (b By) String() string {
	return [...]string{"read", "by assimp", "npm"}[b]
}

// Source is a file of the corpus: below the models folder of assimp-testmodels, or an OBJ file that
// export.mjs makes.
type Source struct {
	Path string
	By   By
}

// ShellsPerSource bounds the rows one file can fill: its largest shells by facets. Scenes of many
// small boxes would crowd out the rest.
const ShellsPerSource = 8

// sources lists machine parts, scans, figures and plain solids; the many test files that hold one
// cube, and files named after a trade mark, are left out.
var sources = []Source{
	{"3MF/box.3mf", ByUs},
	{"OBJ/empty_mat.obj", ByUs},
	{"OBJ/regr01.obj", ByUs},
	{"OBJ/spider.obj", ByUs},
	{"PLY/cube_binary.ply", ByUs},
	{"STL/Spider_binary.stl", ByUs},
	{"STL/Spider_ascii.stl", ByUs},
	{"STL/sphereWithHole.stl", ByUs},
	{"3DS/fels.3ds", ByAssimp},
	{"AMF/test_with_mat.amf", ByAssimp},
	{"BLEND/test_279.blend", ByAssimp},
	{"COB/dwarf.cob", ByAssimp},
	{"Collada/duck_triangulate.dae", ByAssimp},
	{"Collada/earthCylindrical.DAE", ByAssimp},
	{"MDL/MDL (HL1)/chrome_sphere.mdl", ByAssimp},
	{"MDL/MDL5 (3DGS A5)/PhosphoricAcid_MDl5.mdl", ByAssimp},
	{"MS3D/jeep1.ms3d", ByAssimp},
	{"NFF/NFF/dodecahedron.nff", ByAssimp},
	{"NFF/NFF/octahedron.nff", ByAssimp},
	{"NFF/NFF/spheres.nff", ByAssimp},
	{"Ogre/TheThing/Mesh.mesh.xml", ByAssimp},
	{"SMD/holy_grailref.smd", ByAssimp},
	{"X/anim_test.x", ByAssimp},
	{"glTF2/2CylinderEngine-glTF-Binary/2CylinderEngine.glb", ByAssimp},
	{"bunny", ByNPM},
	{"icosphere", ByNPM},
	{"primitive-capsule", ByNPM},
	{"primitive-torus", ByNPM},
	{"three-cone", ByNPM},
	{"three-cylinder", ByNPM},
	{"three-dodecahedron", ByNPM},
	{"three-octahedron", ByNPM},
	{"three-rounded-box", ByNPM},
	{"three-sphere", ByNPM},
	{"three-teapot", ByNPM},
	{"three-torus-knot", ByNPM},
	{"three-torus-knot-3-5", ByNPM},
}
