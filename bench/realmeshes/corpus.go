package main

// by tells how a file's mesh is got.
type by int

const (
	byUs     by = iota // read by mouldwright's own readers
	byAssimp           // turned into STL by the assimp command, then read
	byNPM              // written as OBJ by export.mjs from an npm package, then read
)

func (b by) String() string {
	return [...]string{"read", "by assimp", "npm"}[b]
}

// source is a file of the corpus: below the models folder of assimp-testmodels, or an OBJ file that
// export.mjs makes.
type source struct {
	Path string
	By   by
}

// shellsPerSource bounds the rows one file can fill: its largest shells by facets. Scenes of many
// small boxes would crowd out the rest.
const shellsPerSource = 8

// corpus lists machine parts, scans, figures and plain solids; the many test files that hold one
// cube, and files named after a trade mark, are left out.
var corpus = []source{
	{"3MF/box.3mf", byUs},
	{"OBJ/empty_mat.obj", byUs},
	{"OBJ/regr01.obj", byUs},
	{"OBJ/spider.obj", byUs},
	{"PLY/cube_binary.ply", byUs},
	{"STL/Spider_binary.stl", byUs},
	{"STL/Spider_ascii.stl", byUs},
	{"STL/sphereWithHole.stl", byUs},
	{"3DS/fels.3ds", byAssimp},
	{"AMF/test_with_mat.amf", byAssimp},
	{"BLEND/test_279.blend", byAssimp},
	{"COB/dwarf.cob", byAssimp},
	{"Collada/duck_triangulate.dae", byAssimp},
	{"Collada/earthCylindrical.DAE", byAssimp},
	{"MDL/MDL (HL1)/chrome_sphere.mdl", byAssimp},
	{"MDL/MDL5 (3DGS A5)/PhosphoricAcid_MDl5.mdl", byAssimp},
	{"MS3D/jeep1.ms3d", byAssimp},
	{"NFF/NFF/dodecahedron.nff", byAssimp},
	{"NFF/NFF/octahedron.nff", byAssimp},
	{"NFF/NFF/spheres.nff", byAssimp},
	{"Ogre/TheThing/Mesh.mesh.xml", byAssimp},
	{"SMD/holy_grailref.smd", byAssimp},
	{"X/anim_test.x", byAssimp},
	{"glTF2/2CylinderEngine-glTF-Binary/2CylinderEngine.glb", byAssimp},
	{"bunny", byNPM},
	{"icosphere", byNPM},
	{"primitive-capsule", byNPM},
	{"primitive-torus", byNPM},
	{"three-cone", byNPM},
	{"three-cylinder", byNPM},
	{"three-dodecahedron", byNPM},
	{"three-octahedron", byNPM},
	{"three-rounded-box", byNPM},
	{"three-sphere", byNPM},
	{"three-teapot", byNPM},
	{"three-torus-knot", byNPM},
	{"three-torus-knot-3-5", byNPM},
}
