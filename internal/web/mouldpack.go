package web

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"mouldwright/internal/job"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"

	"gonum.org/v1/gonum/spatial/r3"
)

// keptPacks keeps the packs of the jobs last looked at.
type keptPacks struct {
	gate chan struct{} // holds one: a pack is made at a time, and who waits for it may leave
	byID map[string]keptPack
}

type keptPack struct {
	tag   string
	bytes []byte
}

func (k keptPack) tagged() tagged {
	return tagged{k.tag, func() ([]byte, error) { return k.bytes, nil }}
}

func newKeptPacks() *keptPacks {
	return &keptPacks{gate: make(chan struct{}, 1), byID: map[string]keptPack{}}
}

// of gives a job's pack as it is for a tag, which changes with what it is made of.
func (k *keptPacks) of(ctx context.Context, id, tag string, pack func() ([]byte, error)) (tagged, error) {
	select {
	case k.gate <- struct{}{}:
		defer func() { <-k.gate }()
	case <-ctx.Done():
		return tagged{}, ctx.Err()
	}
	if p := k.byID[id]; p.tag == tag {
		return p.tagged(), nil
	}
	b, err := pack()
	if err != nil {
		return tagged{}, err
	}
	if len(k.byID) >= scenesKept {
		clear(k.byID)
	}
	k.byID[id] = keptPack{tag, b}
	return k.byID[id].tagged(), nil
}

// fileTag changes when a file does.
func fileTag(info os.FileInfo) string {
	return fmt.Sprintf("%d-%d", info.Size(), info.ModTime().UnixNano())
}

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

// packedMould packs the mould of a job's last run.
func (s *Server) packedMould(ctx context.Context, id string) (tagged, error) {
	folder, err := s.work.folder(id)
	if err != nil {
		return tagged{}, err
	}
	path := filepath.Join(folder, job.OutName, mouldFile)
	f, err := s.work.outFile(id, mouldFile) // which follows no link out
	if err != nil {
		return tagged{}, fmt.Errorf("there is no mould yet: %w", os.ErrNotExist)
	}
	info, err := f.Stat()
	if err = errors.Join(err, f.Close()); err != nil {
		return tagged{}, fmt.Errorf("read the mould: %w", err)
	}
	return s.moulds.of(ctx, id, fileTag(info), func() ([]byte, error) {
		rep, err := job.LastReport(folder)
		if err != nil {
			return nil, err
		}
		model, err := meshfile.OpenContext(ctx, path, mesh.Limits{})
		if err != nil {
			return nil, err
		}
		return packMould(model.InMM(), rep)
	})
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
