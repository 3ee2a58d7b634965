package web

import (
	"fmt"
	"os"
	"path/filepath"
	"sync"

	"mouldwright/internal/job"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"

	"gonum.org/v1/gonum/spatial/r3"
)

// mouldPacks keeps the packed moulds of the jobs last looked at.
type mouldPacks struct {
	mu   sync.Mutex
	byID map[string]packed
}

type packed struct {
	tag   string
	bytes []byte
}

func newMouldPacks() *mouldPacks { return &mouldPacks{byID: map[string]packed{}} }

// mouldFile is the closed mould with its casting, in the mould frame.
const mouldFile = "mould.3mf"

type mouldMeta struct {
	Pieces []mouldPiece `json:"pieces"`
}

type mouldPiece struct {
	Name    string     `json:"name"`
	Casting bool       `json:"casting"`
	Exit    [3]float64 `json:"exit" doc:"The proven way out; 0 for the casting"`
	Facets  int        `json:"facets"`
	CellMM  float64    `json:"view_cell_mm" doc:"Details smaller than this are merged in the view; 0 when nothing is"`
}

// of packs the mould of a job's last run; the tag changes when the mould does.
func (m *mouldPacks) of(id, folder string) (packed, error) {
	path := filepath.Join(folder, job.OutName, mouldFile)
	info, err := os.Stat(path)
	if err != nil {
		return packed{}, fmt.Errorf("there is no mould yet: %w", os.ErrNotExist)
	}
	tag := fmt.Sprintf("%d-%d", info.Size(), info.ModTime().UnixNano())
	m.mu.Lock()
	defer m.mu.Unlock()
	if p := m.byID[id]; p.tag == tag {
		return p, nil
	}
	rep, err := job.LastReport(folder)
	if err != nil {
		return packed{}, err
	}
	model, err := meshfile.Open(path, mesh.Limits{})
	if err != nil {
		return packed{}, err
	}
	b, err := packMould(model.InMM(), rep)
	if err != nil {
		return packed{}, err
	}
	if len(m.byID) >= scenesKept {
		clear(m.byID)
	}
	m.byID[id] = packed{tag, b}
	return m.byID[id], nil
}

func packMould(model *mesh.Model, rep *job.Report) ([]byte, error) {
	exits := map[string][3]float64{}
	if rep.Mould != nil {
		for _, p := range rep.Mould.Pieces {
			exits[p.Name] = p.Exit
		}
	}
	meta := mouldMeta{}
	p := &pack{}
	for i, o := range model.Objects {
		v := thinned(o.Mesh, viewFacets)
		exit, piece := exits[o.Name]
		meta.Pieces = append(meta.Pieces, mouldPiece{Name: o.Name, Casting: !piece, Exit: exit, Facets: len(o.Mesh.Tris), CellMM: v.cellMM})
		addMesh(p, fmt.Sprintf("%d.", i), v.mesh, r3.Vec{})
	}
	p.Meta = meta
	return p.bytes()
}
