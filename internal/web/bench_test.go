package web

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"mouldwright/internal/job"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
	"mouldwright/internal/mesh/stl"

	"github.com/chromedp/chromedp"
	"gonum.org/v1/gonum/spatial/r3"
)

// wavedTorus is a part of 4·u² facets: large, closed, nowhere flat.
func wavedTorus(u int) *mesh.Mesh {
	m := &mesh.Mesh{}
	v := 2 * u
	for i := range v {
		a := 2 * math.Pi * float64(i) / float64(v)
		r := 12 + 0.5*math.Sin(6*a)
		for j := range u {
			b := 2 * math.Pi * float64(j) / float64(u)
			m.Verts = append(m.Verts, r3.Vec{X: (40 + r*math.Cos(b)) * math.Cos(a), Y: (40 + r*math.Cos(b)) * math.Sin(a), Z: r * math.Sin(b)})
		}
	}
	at := func(i, j int) uint32 { return uint32((i%v)*u + j%u) }
	for i := range v {
		for j := range u {
			a, b, c, d := at(i, j), at(i+1, j), at(i+1, j+1), at(i, j+1)
			m.Tris = append(m.Tris, [3]uint32{a, b, c}, [3]uint32{a, c, d})
		}
	}
	return m
}

// From the file on disk to what the browser is sent first, for a million facets.
func BenchmarkFirstViewOfAMillion(b *testing.B) {
	dir := b.TempDir()
	if err := meshfile.Save(filepath.Join(dir, "big.stl"), &mesh.Model{Unit: mesh.Millimetre, UnitKnown: true, Objects: []mesh.Object{{Name: "big", Mesh: wavedTorus(500)}}}); err != nil {
		b.Fatal(err)
	}
	info, err := os.Stat(filepath.Join(dir, "big.stl"))
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(info.Size())
	f := &job.File{Part: job.PartFile{File: "big.stl"}}
	for b.Loop() {
		opened, err := openPart(b.Context(), dir, f)
		if err != nil {
			b.Fatal(err)
		}
		v := thinned(opened.Object.Mesh, viewFacets)
		p := &pack{}
		addMesh(p, "", v.mesh, r3.Vec{})
		if _, err := p.bytes(); err != nil {
			b.Fatal(err)
		}
	}
}

// A thinned view stays within its limit, lies on the part, and every facet of it knows the facet it
// came from.
func TestThinned(t *testing.T) {
	m := wavedTorus(60) // 14,400 facets
	for _, limit := range []int{14_400, 10_000, 2_000, 200} {
		v := thinned(m, limit)
		if len(v.mesh.Tris) > limit || len(v.mesh.Tris) < limit/4 {
			t.Errorf("limit %d: %d facets", limit, len(v.mesh.Tris))
		}
		of := map[r3.Vec]bool{}
		for _, p := range m.Verts {
			of[p] = true
		}
		for i, tri := range v.mesh.Tris {
			for _, c := range tri {
				if !of[v.mesh.Verts[c]] {
					t.Fatalf("limit %d: a corner is no vertex of the part", limit)
				}
			}
			if v.source != nil && r3.Norm(r3.Sub(v.mesh.Facet(i).Centroid(), m.Facet(int(v.source[i])).Centroid())) > 2*v.cellMM {
				t.Fatalf("limit %d: facet %d lies far from the one it shows", limit, i)
			}
		}
	}
	p, err := inspect(context.Background(), &job.OpenedPart{Object: mesh.Object{Mesh: m}})
	if err != nil {
		t.Fatal(err)
	}
	v := thinned(m, 2000)
	for i, w := range p.workingFacets(v) {
		if w != v.source[i] { // nothing of this part is dropped, so the facets keep their numbers
			t.Fatalf("facet %d shows %d, want %d", i, w, v.source[i])
		}
	}
}

// BenchmarkTurnAMillion turns a part of a million facets in the view of Debian's Chromium, one frame after
// the other. Here that is drawn by the processor (SwiftShader); a graphics card is faster.
func BenchmarkTurnAMillion(b *testing.B) {
	c := serve(b, Options{})
	p := openPage(b, c)
	var up struct {
		Upload string `json:"upload"`
	}
	var file bytes.Buffer
	if err := stl.Write(&file, wavedTorus(500), "torus"); err != nil {
		b.Fatal(err)
	}
	status, got := c.do("POST", "/api/uploads?name=torus.stl", file.Bytes())
	if status >= 300 || json.Unmarshal(got, &up) != nil {
		b.Fatalf("upload: %d %s", status, got)
	}
	var j jobView
	c.must("POST", "/api/jobs", newJob{Upload: up.Upload, Name: "torus"}, &j)
	p.run(chromedp.Navigate(c.base + "/jobs/" + j.ID))
	p.until(`Number(document.querySelector('.canvas-box canvas')?.dataset.frames) > 0 && document.querySelector('#part')?.innerText.includes('facets')`)
	// Judging goes on meanwhile, on every core; here it would be measured too.
	p.until(`document.querySelector('progress')`)
	eval[int](p, `fetch('/api/jobs/`+j.ID+`').then(r => r.json()).then(j => fetch('/api/tasks/' + j.task.id, {method: 'DELETE'})).then(r => r.status)`)
	p.until(`!document.querySelector('progress')`)
	b.ResetTimer()
	for range b.N {
		eval[int](p, `new Promise(done => {
			const c = document.querySelector('.canvas-box canvas'), from = Number(c.dataset.frames)
			const turn = () => { if (Number(c.dataset.frames) >= from + 20) return done(1); c.dispatchEvent(new KeyboardEvent('keydown', {key: 'ArrowLeft'})); requestAnimationFrame(turn) }
			turn()
		})`)
	}
	b.ReportMetric(20*float64(b.N)/b.Elapsed().Seconds(), "frames/s")
}
