package web

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"

	"mouldwright/internal/tasks"

	"gonum.org/v1/gonum/spatial/r3"
)

// A judgement is kept with its task, so that one made by another process, or before the server was started
// anew, is there as well.

// judgedMeta is the header of a kept judgement; its arrays are draft, reach and under, one a facet.
type judgedMeta struct {
	Scene     string         `json:"scene"` // key of the part
	Decisions string         `json:"decisions"`
	Facets    int            `json:"facets"`
	Judgement *judgement     `json:"judgement"`
	Loops     [][][3]float64 `json:"loops"`
}

func (j *judgement) write(w io.Writer, scene, decisions string) error {
	m := judgedMeta{Scene: scene, Decisions: decisions, Facets: len(j.facets.reach), Judgement: j}
	for _, l := range j.loops {
		loop := make([][3]float64, len(l))
		for i, v := range l {
			loop[i] = array(v)
		}
		m.Loops = append(m.Loops, loop)
	}
	p := &pack{Meta: m}
	add(p, "draft", j.facets.draft)
	add(p, "reach", j.facets.reach)
	add(p, "under", j.facets.under)
	b, err := p.bytes()
	if err != nil {
		return err
	}
	_, err = w.Write(b)
	return err
}

// readJudgement reads a kept judgement of a part with so many facets.
func readJudgement(b []byte, facets int) (*judgedMeta, error) {
	o, err := unpacked(b)
	if err != nil {
		return nil, fmt.Errorf("read the judgement: %w", err)
	}
	m := &judgedMeta{}
	if err := json.Unmarshal(o.meta, m); err != nil {
		return nil, fmt.Errorf("read the judgement: %w", err)
	}
	if m.Judgement == nil || m.Facets != facets {
		return nil, fmt.Errorf("read the judgement: it is not of this part: %w", errNoPack)
	}
	j := m.Judgement
	j.facets = facetMarks{make([]int16, facets), make([]uint8, facets), make([]uint16, facets)}
	for _, a := range []struct {
		name, kind string
		into       any
	}{{"draft", "i16", j.facets.draft}, {"reach", "u8", j.facets.reach}, {"under", "u16", j.facets.under}} {
		if err := o.array(a.name, a.kind, a.into); err != nil {
			return nil, fmt.Errorf("read the judgement: %w", err)
		}
	}
	for _, l := range m.Loops {
		loop := make([]r3.Vec, len(l))
		for i, v := range l {
			loop[i] = vec(v)
		}
		j.loops = append(j.loops, loop)
	}
	return m, nil
}

// judgement is the last one made of a job's part as it is now, which has been looked over; nil when there
// is none. decisions is the
// key of those it was made for.
func (s *Server) judgement(ctx context.Context, id string, sc *scene) (j *judgement, decisions string, err error) {
	t, found, err := s.tasks.Kept(ctx, id, kindJudge)
	if err != nil {
		return nil, "", lineProblem(err)
	}
	if !found {
		return nil, "", nil
	}
	sc.mu.Lock()
	defer sc.mu.Unlock()
	if sc.judgedBy == t.ID {
		return sc.judged, sc.judgeKey, nil
	}
	m, err := keptJudgement(ctx, t, len(sc.part.mesh.Tris))
	if err != nil {
		return nil, "", err
	}
	sc.judgedBy, sc.judged, sc.judgeKey = t.ID, nil, ""
	if m.Scene == sc.key { // else the part has been replaced since
		sc.judged, sc.judgeKey = m.Judgement, m.Decisions
	}
	return sc.judged, sc.judgeKey, nil
}

func keptJudgement(ctx context.Context, t *tasks.Task, facets int) (*judgedMeta, error) {
	var b bytes.Buffer
	if err := t.Result(ctx, &b); err != nil {
		return nil, lineProblem(err)
	}
	return readJudgement(b.Bytes(), facets)
}
