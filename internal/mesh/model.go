package mesh

// Unit is a length unit of a file, as mm per unit.
type Unit float64

// The units that 3MF names, and metres and inches for formats that carry none.
const (
	Micron     Unit = 0.001
	Millimetre Unit = 1
	Centimetre Unit = 10
	Inch       Unit = 25.4
	Foot       Unit = 304.8
	Metre      Unit = 1000
)

// Model is what a file holds: named objects, already placed by their transforms.
type Model struct {
	Unit      Unit // mm per file unit; coordinates below are still in file units
	UnitKnown bool // false when the format carries no unit and Unit is the assumed Millimetre
	Objects   []Object
}

// Object is one placed body of a Model. A reader keeps vertices as the file shares them; Weld joins
// those that only coincide.
type Object struct {
	Name string
	Mesh *Mesh
	// Colours are the distinct display colours in the file, and FacetColour the index into it of
	// each facet, -1 for none; FacetColour is nil when the file has no colours.
	Colours     []RGBA
	FacetColour []int32
}

// RGBA is an sRGB colour as files write it.
type RGBA struct{ R, G, B, A uint8 }
