package lantern

import "mouldwright/internal/mesh"

// ShowColour marks the facets of show faces in the files: amber.
var ShowColour = mesh.RGBA{R: 0xff, G: 0xbf, B: 0x00, A: 0xff}

// Parts returns the lantern's cast parts, in the order a workshop makes them. PlainFootRing is not
// among them: it is for tests.
func Parts() []*Part {
	return []*Part{FootRing(), BumperCap(), BallastBase(), Carrier(), FootPad(), PadCarrier()}
}

// Object returns the part as an object of a file, show faces coloured.
func (p *Part) Object() mesh.Object {
	o := mesh.Object{Name: p.Name, Mesh: p.Mesh}
	if len(p.ShowFaces) == 0 {
		return o
	}
	o.Colours = []mesh.RGBA{ShowColour}
	o.FacetColour = make([]int32, len(p.Mesh.Tris))
	for f, show := range p.Show() {
		if !show {
			o.FacetColour[f] = -1
		}
	}
	return o
}
