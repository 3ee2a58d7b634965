package web

import (
	"context"
	"fmt"
	"net/http"

	"mouldwright/internal/geom"

	"github.com/danielgtaylor/huma/v2"
)

// packOut is a binary answer; see pack for its form.
type packOut struct {
	ContentType string `header:"Content-Type"`
	Cache       string `header:"Cache-Control"`
	ETag        string `header:"ETag"`
	Body        []byte
}

type packIn struct {
	JobPath
	Seen string `header:"If-None-Match"`
}

// partMeta comes with the part's geometry.
type partMeta struct {
	File     string     `json:"file"`
	Object   string     `json:"object"`
	Unit     string     `json:"unit"`
	Facets   int        `json:"facets" doc:"Of the part; computations use them all"`
	Shown    int        `json:"shown_facets"`
	CellMM   float64    `json:"view_cell_mm" doc:"Details smaller than this are merged in the view; 0 when nothing is"`
	OriginMM [3]float64 `json:"origin_mm" doc:"Add it to the positions"`
	SizeMM   [3]float64 `json:"size_mm"`
}

// intakeView is what a look over the part found.
type intakeView struct {
	Facets    int      `json:"facets" doc:"Those of no area left out"`
	VolumeMM3 float64  `json:"volume_mm3" doc:"Means nothing when fatal is there"`
	AreaMM2   float64  `json:"area_mm2"`
	Notes     []string `json:"notes" doc:"What the reader assumed, and what is unusual"`
	Fatal     string   `json:"fatal,omitempty" doc:"Why no mould can be made of this mesh"`
}

type showMeta struct {
	Facets  int     `json:"facets"`
	AreaMM2 float64 `json:"area_mm2"`
	GrowDeg float64 `json:"grow_deg"`
}

func (s *Server) geometryRoutes(api huma.API) {
	route := func(id, path, words string, make func(ctx context.Context, job string) (tagged, error)) {
		huma.Register(api, huma.Operation{OperationID: id, Method: http.MethodGet, Path: "/api/jobs/{job}/" + path, Summary: words + " (binary; see docs/api.md)"},
			func(ctx context.Context, in *packIn) (*packOut, error) {
				p, err := make(ctx, in.Job)
				if err != nil {
					return nil, s.asProblem(err)
				}
				return p.answer(in.Seen)
			})
	}
	route("getPart", "part.bin", "The part's surface as the view draws it", s.packPart)
	route("getShow", "show.bin", "Which facets of the view are show faces", s.packShow)
	route("getJudgedFacets", "judgement.bin", "Draft, reach and undercut of each facet of the view, and the parting line", s.packJudgement)
	route("getMould", "mould.bin", "The pieces of the mould and the casting, closed, in the mould frame", s.packedMould)
	route("getFill", "fill.bin", "When the resin reaches each place of the casting, in the mould frame", s.packFill)
	huma.Register(api, huma.Operation{OperationID: "getIntake", Method: http.MethodGet, Path: "/api/jobs/{job}/intake", Summary: "What a look over the part found"},
		func(ctx context.Context, in *JobPath) (*body[intakeView], error) {
			sc, _, err := s.inspected(ctx, in.Job)
			if err != nil {
				return nil, s.asProblem(err)
			}
			p := sc.part
			v := intakeView{Facets: len(p.mesh.Tris), VolumeMM3: p.mesh.VolumeMM3(), AreaMM2: p.mesh.AreaMM2(), Notes: p.notes}
			if p.fatal != nil {
				v.Fatal = p.fatal.Error()
			}
			return &body[intakeView]{v}, nil
		})
	huma.Register(api, huma.Operation{OperationID: "getJudgement", Method: http.MethodGet, Path: "/api/jobs/{job}/judgement", Summary: "What the last judgement found"},
		func(ctx context.Context, in *JobPath) (*body[judgedView], error) {
			if _, _, err := s.sound(in.Job); err != nil {
				return nil, s.asProblem(err)
			}
			if _, found, err := s.tasks.Kept(ctx, in.Job, kindJudge); err != nil {
				return nil, s.asProblem(lineProblem(err))
			} else if !found { // said before the part is looked over, which may take a while
				return nil, errNotJudged
			}
			sc, d, err := s.inspected(ctx, in.Job)
			if err != nil {
				return nil, s.asProblem(err)
			}
			j, decisions, err := s.judgement(ctx, in.Job, sc)
			if err != nil {
				return nil, s.asProblem(err)
			}
			if j == nil {
				return nil, errNotJudged
			}
			return &body[judgedView]{judgedView{j, decisions == judgementKey(d.file)}}, nil
		})
}

type judgedView struct {
	*judgement
	Fresh bool `json:"fresh" doc:"Whether it fits the decisions as they are now"`
}

var errNotJudged = problem(http.StatusNotFound, "the part has not been judged as it is; post a judge task")

// tagged is a pack, made when it is needed, and a tag that changes with it.
type tagged struct {
	tag   string
	bytes func() ([]byte, error)
}

func (t tagged) answer(seen string) (*packOut, error) {
	tag := `"` + t.tag + `"`
	if seen == tag {
		return nil, huma.Status304NotModified()
	}
	b, err := t.bytes()
	if err != nil {
		return nil, err
	}
	return &packOut{ContentType: "application/octet-stream", Cache: "no-cache", ETag: tag, Body: b}, nil
}

func (s *Server) packPart(ctx context.Context, id string) (tagged, error) {
	sc, d, err := s.scene(ctx, id)
	if err != nil {
		return tagged{}, err
	}
	out := &pack{Meta: partMeta{File: d.file.Part.File, Object: sc.opened.Object.Name, Unit: sc.opened.Unit.Name(), Facets: len(sc.opened.Object.Mesh.Tris),
		Shown: len(sc.view.mesh.Tris), CellMM: sc.view.cellMM, OriginMM: array(sc.origin), SizeMM: array(sc.box.Size())}}
	addMesh(out, "", sc.view.mesh, sc.origin)
	return tagged{tagOf([]byte(sc.key)), out.bytes}, nil
}

func (s *Server) packShow(ctx context.Context, id string) (tagged, error) {
	sc, d, err := s.inspected(ctx, id)
	if err != nil {
		return tagged{}, err
	}
	marks, err := sc.show(d.file.Show)
	if err != nil {
		return tagged{}, err
	}
	meta := showMeta{GrowDeg: d.file.Show.GrowDeg}
	for f, on := range marks {
		if on {
			meta.Facets++
			meta.AreaMM2 += geom.Area(sc.part.mesh.Facet(f))
		}
	}
	of := make([]uint8, len(sc.view.mesh.Tris))
	for i, f := range sc.working {
		if f >= 0 && marks[f] {
			of[i] = 1
		}
	}
	out := &pack{Meta: meta}
	add(out, "show", of)
	return tagged{tagOf([]byte(sc.key + keyOf(d.file.Show))), out.bytes}, nil
}

func (s *Server) packJudgement(ctx context.Context, id string) (tagged, error) {
	sc, _, err := s.inspected(ctx, id)
	if err != nil {
		return tagged{}, err
	}
	j, key, err := s.judgement(ctx, id, sc)
	if err != nil {
		return tagged{}, err
	}
	if j == nil {
		return tagged{}, errNotJudged
	}
	out := &pack{Meta: struct {
		Loops int `json:"loops"`
	}{len(j.loops)}}
	j.addFacets(out, sc.working)
	for i, l := range j.loops {
		add(out, fmt.Sprintf("loop.%d", i), positions(l, sc.origin))
	}
	return tagged{tagOf([]byte(sc.key + key)), out.bytes}, nil
}
