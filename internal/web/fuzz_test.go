package web

import (
	"bytes"
	"net/http"
	"testing"

	"mouldwright/internal/fuzzcheck"
	"mouldwright/internal/membudget"
)

// Whatever is uploaded under whatever name, it is taken or refused in words that a client can be shown, and
// what is refused leaves nothing.
func FuzzUpload(f *testing.F) {
	staged, err := newStaging(Options{MaxUploadBytes: 1 << 20, MaxFacets: 10_000}.withDefaults(), membudget.NewShares(1<<30))
	if err != nil {
		f.Fatal(err)
	}
	f.Cleanup(func() {
		if err := staged.close(); err != nil {
			f.Error(err)
		}
	})
	s := &Server{staged: staged, work: &workspace{dir: f.TempDir()}}
	f.Add("part.stl", asciiTetra(20))
	f.Add("../a.3mf", vertexBomb(f, 100))
	f.Add("a.obj", []byte("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n"))
	f.Add("a.ply", []byte("ply\nformat ascii 1.0\nelement vertex 0\nend_header\n"))
	f.Fuzz(func(t *testing.T, name string, data []byte) {
		fuzzcheck.Bounded(t, func() {
			v, err := staged.receive(t.Context(), name, bytes.NewReader(data))
			if err == nil {
				if len(v.Objects) == 0 {
					t.Errorf("taken without an object: %+v", v)
				}
				staged.release(v.Upload, true)
			} else if p, ok := s.asProblem(err).(*Problem); !ok || p.Status < 400 || p.Status >= 500 && p.Status != http.StatusInsufficientStorage || p.Detail == "" {
				t.Errorf("%v became %+v", err, p)
			}
		})
		if len(staged.parts) != 0 {
			t.Errorf("left behind: %v", staged.parts)
		}
	})
}
