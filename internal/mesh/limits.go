package mesh

import "fmt"

// Limits bound what a reader takes from one file. A zero field means the default. Readers check
// them while they read, so a hostile or broken file is refused before it fills memory.
type Limits struct {
	Facets         int   // facets in all placed objects together; default 10 million
	Bytes          int64 // bytes of the file, and of what is unpacked from it; default 2 GiB
	ZipRatio       int64 // unpacked bytes for each packed byte of a zip entry; default 200
	XMLDepth       int   // nesting of XML elements; default 64
	XMLToken       int64 // bytes of one XML tag or text run; default 1 MiB
	Placements     int   // objects and components placed by a 3MF build; default 100,000
	PolygonCorners int   // corners of one polygon that a reader must cut into facets; default 1,000
}

// The defaults. A finely scanned part has about a million facets; ordinary XML meshes pack 5 to 30
// to one (common practice, no source), so a ratio of 200 is far from both real files and the
// 1,032 to one that deflate can reach.
const (
	DefaultFacets         = 10_000_000
	DefaultBytes          = 2 << 30
	DefaultZipRatio       = 200
	DefaultXMLDepth       = 64
	DefaultXMLToken       = 1 << 20
	DefaultPlacements     = 100_000
	DefaultPolygonCorners = 1_000
)

// OrDefault fills the zero fields.
func (l Limits) OrDefault() Limits {
	fill(&l.Facets, DefaultFacets)
	fill(&l.Bytes, DefaultBytes)
	fill(&l.ZipRatio, DefaultZipRatio)
	fill(&l.XMLDepth, DefaultXMLDepth)
	fill(&l.XMLToken, DefaultXMLToken)
	fill(&l.Placements, DefaultPlacements)
	fill(&l.PolygonCorners, DefaultPolygonCorners)
	return l
}

func fill[T int | int64](field *T, value T) {
	if *field <= 0 {
		*field = value
	}
}

// LimitError says that a file is larger than a limit allows. Limit is the field of Limits.
type LimitError struct {
	Limit string
	Max   int64
	What  string // what was counted, such as "facets"
}

func (e *LimitError) Error() string {
	do := remedies[e.Limit]
	if do == "" {
		do = "export the part as one plain mesh, such as STL"
	}
	return fmt.Sprintf("more than %d %s; %s", e.Max, e.What, do)
}

// remedies say what brings a file under a limit, by its field of Limits.
var remedies = map[string]string{
	"Facets":   "export the part with a coarser tolerance, so that it has fewer",
	"Bytes":    "export the part with a coarser tolerance, or as binary STL",
	"ZipRatio": "no mesh packs so well: export the part again, or as STL",
}

// TooManyFacets is the error of a file that passes Limits.Facets.
func (l Limits) TooManyFacets() error {
	return &LimitError{Limit: "Facets", Max: int64(l.Facets), What: "facets"}
}

// TooManyBytes is the error of a file that passes Limits.Bytes.
func (l Limits) TooManyBytes() error {
	return &LimitError{Limit: "Bytes", Max: l.Bytes, What: "bytes"}
}
