package main

import (
	"strings"
	"testing"

	"mouldwright/internal/solid"
)

// The main job on a few of the meshes; the command runs it on all. Convex solids and a sphere must
// come apart; the blend file's part locks whichever way it is turned, and the duck's surface crosses itself.
func TestMainJobOnRealMeshes(t *testing.T) {
	c := installed(t)
	pool := solid.NewPool(solid.Options{})
	defer pool.Close()
	run := newPipeline(pool)
	verdicts := map[string]struct{ verdict, reason string }{
		"3MF/box.3mf":                     {provenMould, ""},
		"AMF/test_with_mat.amf":           {provenMould, ""},
		"MDL/MDL (HL1)/chrome_sphere.mdl": {provenMould, ""},
		"NFF/NFF/dodecahedron.nff":        {provenMould, ""},
		"BLEND/test_279.blend":            {refused, "undercut"},
		"Collada/duck_triangulate.dae":    {refused, "intake"},
	}
	for _, s := range c.Specimens {
		want, ok := verdicts[s.Name]
		if !ok {
			continue
		}
		delete(verdicts, s.Name)
		got, err := run(t.Context(), s.Mesh)
		if err != nil {
			t.Errorf("%s: %v", s.Name, err)
			continue
		}
		if got.Verdict != want.verdict || !strings.HasPrefix(got.Reason, want.reason) {
			t.Errorf("%s: %s, %q; want %s, %q", s.Name, got.Verdict, got.Reason, want.verdict, want.reason)
		}
	}
	for name := range verdicts {
		t.Errorf("%s is not in the corpus", name)
	}
}
