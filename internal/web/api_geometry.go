package web

import (
	"context"
	"fmt"
	"net/http"

	"github.com/danielgtaylor/huma/v2"
	"gonum.org/v1/gonum/spatial/r3"
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
	File      string     `json:"file"`
	Object    string     `json:"object"`
	Unit      string     `json:"unit"`
	Facets    int        `json:"facets" doc:"Of the part; computations use them all"`
	Shown     int        `json:"shown_facets"`
	CellMM    float64    `json:"view_cell_mm" doc:"Details smaller than this are merged in the view; 0 when nothing is"`
	OriginMM  [3]float64 `json:"origin_mm" doc:"Add it to the positions"`
	SizeMM    [3]float64 `json:"size_mm"`
	VolumeMM3 float64    `json:"volume_mm3"`
	AreaMM2   float64    `json:"area_mm2"`
	Notes     []string   `json:"notes"`
	Fatal     string     `json:"fatal,omitempty" doc:"Why no mould can be made of this mesh"`
}

type showMeta struct {
	Facets  int     `json:"facets"`
	AreaMM2 float64 `json:"area_mm2"`
	GrowDeg float64 `json:"grow_deg"`
}

func (s *Server) geometryRoutes(api huma.API) {
	route := func(id, path, words string, make func(ctx context.Context, job string) (tag string, p *pack, err error)) {
		huma.Register(api, huma.Operation{OperationID: id, Method: http.MethodGet, Path: "/api/jobs/{job}/" + path, Summary: words + " (binary; see docs/api.md)"},
			func(ctx context.Context, in *packIn) (*packOut, error) {
				tag, p, err := make(ctx, in.Job)
				if err != nil {
					return nil, s.asProblem(err)
				}
				return p.answer(in.Seen, tag)
			})
	}
	route("getPart", "part.bin", "The part's surface as the view draws it", s.packPart)
	route("getShow", "show.bin", "Which facets of the view are show faces", s.packShow)
	route("getJudgedFacets", "judgement.bin", "Draft, reach and undercut of each facet of the view, and the parting line", s.packJudgement)
	huma.Register(api, huma.Operation{OperationID: "getMould", Method: http.MethodGet, Path: "/api/jobs/{job}/mould.bin", Summary: "The pieces of the mould and the casting, closed, in the mould frame (binary; see docs/api.md)"},
		func(ctx context.Context, in *packIn) (*packOut, error) {
			folder, err := s.work.folder(in.Job)
			if err != nil {
				return nil, s.asProblem(err)
			}
			p, err := s.moulds.of(in.Job, folder)
			if err != nil {
				return nil, s.asProblem(err)
			}
			return answer(in.Seen, p.tag, func() ([]byte, error) { return p.bytes, nil })
		})
	huma.Register(api, huma.Operation{OperationID: "getJudgement", Method: http.MethodGet, Path: "/api/jobs/{job}/judgement", Summary: "What the last judgement found"},
		func(ctx context.Context, in *JobPath) (*body[judgedView], error) {
			sc, d, err := s.scene(ctx, in.Job)
			if err != nil {
				return nil, s.asProblem(err)
			}
			j, fresh := sc.judgement(d.file)
			if j == nil {
				return nil, errNotJudged
			}
			return &body[judgedView]{judgedView{j, fresh}}, nil
		})
}

type judgedView struct {
	*judgement
	Fresh bool `json:"fresh" doc:"Whether it fits the decisions as they are now"`
}

var errNotJudged = problem(http.StatusNotFound, "the part has not been judged since the server started; post a judge task")

func (p *pack) answer(seen, tag string) (*packOut, error) { return answer(seen, tag, p.bytes) }

func answer(seen, tag string, bytes func() ([]byte, error)) (*packOut, error) {
	tag = `"` + tag + `"`
	if seen == tag {
		return nil, huma.Status304NotModified()
	}
	b, err := bytes()
	if err != nil {
		return nil, err
	}
	return &packOut{ContentType: "application/octet-stream", Cache: "no-cache", ETag: tag, Body: b}, nil
}

func (s *Server) packPart(ctx context.Context, id string) (string, *pack, error) {
	sc, d, err := s.scene(ctx, id)
	if err != nil {
		return "", nil, err
	}
	p := sc.part
	b := p.mesh.Bounds()
	origin := r3.Scale(0.5, r3.Add(b.Min, b.Max))
	meta := partMeta{File: d.file.Part.File, Object: p.object.Name, Unit: p.unit.Name(), Facets: len(p.mesh.Tris), Shown: len(sc.view.mesh.Tris), CellMM: sc.view.cellMM,
		OriginMM: array(origin), SizeMM: array(b.Size()), VolumeMM3: p.mesh.VolumeMM3(), AreaMM2: p.mesh.AreaMM2(), Notes: p.notes}
	if p.fatal != nil {
		meta.Fatal = p.fatal.Error()
	}
	out := &pack{Meta: meta}
	addMesh(out, "", sc.view.mesh, origin)
	return tagOf([]byte(sc.key)), out, nil
}

func (s *Server) packShow(ctx context.Context, id string) (string, *pack, error) {
	sc, d, err := s.scene(ctx, id)
	if err != nil {
		return "", nil, err
	}
	marks, err := sc.show(d.file.Show)
	if err != nil {
		return "", nil, err
	}
	meta := showMeta{GrowDeg: d.file.Show.GrowDeg}
	for f, on := range marks {
		if on {
			meta.Facets++
			meta.AreaMM2 += sc.part.mesh.Facet(f).Area()
		}
	}
	of := make([]uint8, len(sc.view.mesh.Tris))
	for i := range of {
		if marks[sc.view.facet(i)] {
			of[i] = 1
		}
	}
	out := &pack{Meta: meta}
	add(out, "show", of)
	return tagOf([]byte(sc.key + keyOf(d.file.Show))), out, nil
}

func (s *Server) packJudgement(ctx context.Context, id string) (string, *pack, error) {
	sc, _, err := s.scene(ctx, id)
	if err != nil {
		return "", nil, err
	}
	sc.mu.Lock()
	j, key := sc.judged, sc.judgeKey
	sc.mu.Unlock()
	if j == nil {
		return "", nil, errNotJudged
	}
	b := sc.part.mesh.Bounds()
	origin := r3.Scale(0.5, r3.Add(b.Min, b.Max))
	out := &pack{Meta: struct {
		Loops int `json:"loops"`
	}{len(j.loops)}}
	j.addFacets(out, sc.view)
	for i, l := range j.loops {
		pos := make([]float32, 0, 3*len(l))
		for _, v := range l {
			q := r3.Sub(v, origin)
			pos = append(pos, float32(q.X), float32(q.Y), float32(q.Z))
		}
		add(out, fmt.Sprintf("loop.%d", i), pos)
	}
	return tagOf([]byte(sc.key + key)), out, nil
}
