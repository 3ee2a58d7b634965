package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"mouldwright/internal/choice"
	"mouldwright/internal/job"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
	"mouldwright/internal/solid"
)

// settings are what a job that compares the ways starts from, in order: the defaults, and what a maker
// would ask for next. The casting is rigid, which is the harder case.
var settings = []struct{ words, toml string }{
	{"", ""},
	{"clamped", "[mould]\nbolt = \"none\"\n"},
}

// found is what came of comparing the ways.
type found struct {
	Family, Direction, Note string   // the way that was built and proven; empty when none was
	Reasons                 []string // why the others are not, a line for each way
}

// otherWays compares all ways to mould a part, as the command compare does, and builds them in rank order
// until one is proven.
func otherWays(ctx context.Context, pool *solid.Pool, m *mesh.Mesh) (*found, error) {
	folder, err := os.MkdirTemp("", "realmeshes")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(folder)
	if err := meshfile.Save(filepath.Join(folder, "part.3mf"), &mesh.Model{Unit: mesh.Millimetre, UnitKnown: true, Objects: []mesh.Object{{Name: "part", Mesh: m}}}); err != nil {
		return nil, err
	}
	out := &found{}
	for _, s := range settings {
		text := "format = 1\n[part]\nfile = \"part.3mf\"\n[material]\nid = \"pu-rigid\"\n" + s.toml
		if err := os.WriteFile(filepath.Join(folder, job.FileName), []byte(text), 0o600); err != nil {
			return nil, err
		}
		c, err := job.Compare(ctx, folder, job.CompareOptions{Pool: pool, NoChange: true})
		if err != nil {
			return nil, err
		}
		if best := c.Row(c.Best); best != nil && best.Basis == choice.Proven {
			return &found{Family: best.Name, Direction: directionWords(best.Direction), Note: s.words, Reasons: reasonsOf(c.Table)}, nil
		}
		if out.Reasons == nil {
			out.Reasons = reasonsOf(c.Table)
		}
	}
	return out, nil
}

// reasonsOf says in a line for each way that does not open why.
func reasonsOf(t *choice.Table) (out []string) {
	for i := range t.Rows {
		r := &t.Rows[i]
		switch {
		case r.Basis == choice.Tried:
			out = append(out, r.Name+": "+firstWords(r.Reasons[len(r.Reasons)-1]))
		case r.Opens && t.Best == r.Key && r.Basis == choice.Estimated:
			out = append(out, r.Name+": opens by the estimate; nothing builds it yet")
		case !r.Opens && len(r.Reasons) > 0:
			out = append(out, fmt.Sprintf("%s: %s", r.Name, firstWords(r.Reasons[0])))
		}
	}
	return out
}

// firstWords keeps a reason to a table's size.
func firstWords(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	const most = 160
	if len(s) <= most {
		return s
	}
	cut := strings.LastIndexByte(s[:most], ' ')
	return s[:max(cut, 1)] + " …"
}
