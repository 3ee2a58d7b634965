package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/url"
	"regexp"
	"time"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/stl"

	"gonum.org/v1/gonum/spatial/r3"
)

// shop is what the clients ask about.
type shop struct {
	url, ring, big, batch, mould, shot, run, task string
	files                                         []string // results of the ring, by name
	assets                                        []string // of the page
}

// ripples is a closed ball with a wavy surface, of 4·n·(n−1) facets.
func ripples(n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	point := func(lat, lon float64) r3.Vec {
		r := 40 + math.Sin(9*lat)*math.Sin(2*lat)*math.Cos(12*lon)
		return r3.Vec{X: r * math.Cos(lat) * math.Cos(lon), Y: r * math.Cos(lat) * math.Sin(lon), Z: r * math.Sin(lat)}
	}
	round := 2 * n
	for i := 1; i < n; i++ {
		for j := range round {
			m.Verts = append(m.Verts, point(math.Pi*(float64(i)/float64(n)-0.5), 2*math.Pi*float64(j)/float64(round)))
		}
	}
	south, north := uint32(len(m.Verts)), uint32(len(m.Verts)+1)
	m.Verts = append(m.Verts, point(-math.Pi/2, 0), point(math.Pi/2, 0))
	at := func(i, j int) uint32 { return uint32((i-1)*round + j%round) }
	for j := range round {
		m.Tris = append(m.Tris, [3]uint32{south, at(1, j+1), at(1, j)}, [3]uint32{north, at(n-1, j), at(n-1, j+1)})
		for i := 1; i < n-1; i++ {
			a, b, c, d := at(i, j), at(i, j+1), at(i+1, j+1), at(i+1, j)
			m.Tris = append(m.Tris, [3]uint32{a, b, c}, [3]uint32{a, c, d})
		}
	}
	return m
}

// ballRows gives a ball of a million facets.
const ballRows = 501

// call sends a request that has to succeed, and reads the answer into out.
func call(ctx context.Context, method, address string, body []byte, out any) error {
	r, err := http.NewRequestWithContext(ctx, method, address, bytes.NewReader(body))
	if err != nil {
		return err
	}
	r.Header.Set("Content-Type", "application/json")
	res, err := http.DefaultClient.Do(r)
	if err != nil {
		return err
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		return err
	}
	if res.StatusCode >= 300 {
		return fmt.Errorf("%s %s: %d %s", method, address, res.StatusCode, b)
	}
	if text, ok := out.(*string); ok {
		*text = string(b)
		return nil
	}
	return json.Unmarshal(b, out)
}

// furnisher remembers the first error, so that the list of what is put there reads as one.
type furnisher struct {
	ctx  context.Context
	base string
	err  error
}

func (f *furnisher) call(method, path string, body, out any) {
	if f.err != nil {
		return
	}
	raw, ok := body.([]byte)
	if !ok && body != nil {
		if raw, f.err = json.Marshal(body); f.err != nil {
			return
		}
	}
	f.err = call(f.ctx, method, f.base+path, raw, out)
}

// task does long work to its end.
func (f *furnisher) task(job, kind string) string {
	var t struct{ ID, State, Error string }
	f.call("POST", "/api/jobs/"+job+"/tasks", map[string]string{"kind": kind}, &t)
	for f.err == nil && t.State != "done" {
		if t.State != "waiting" && t.State != "running" {
			f.err = fmt.Errorf("%s of %s: %s %s", kind, job, t.State, t.Error)
		}
		select {
		case <-time.After(200 * time.Millisecond):
		case <-f.ctx.Done():
			f.err = f.ctx.Err()
		}
		f.call("GET", "/api/tasks/"+t.ID, nil, &t)
	}
	return t.ID
}

var assetName = regexp.MustCompile(`/assets/[^"]+`)

// furnish fills the server's folder through its API.
func furnish(ctx context.Context, base string) (*shop, error) {
	f := &furnisher{ctx: ctx, base: base}
	s := &shop{url: base}
	type named struct{ ID string }
	var ring, big, mould, shot, batch named
	f.call("POST", "/api/jobs", map[string]string{"demo": "foot ring"}, &ring)
	s.task = f.task(ring.ID, "judge")
	f.task(ring.ID, "build")
	var report struct{ Files []string }
	f.call("GET", "/api/jobs/"+ring.ID+"/report", nil, &report)

	var file bytes.Buffer
	if err := stl.Write(&file, ripples(ballRows), "ball"); err != nil {
		return nil, err
	}
	var up struct{ Upload string }
	f.call("POST", "/api/uploads?name=ball.stl", file.Bytes(), &up)
	f.call("POST", "/api/jobs", map[string]string{"upload": up.Upload, "name": "ball"}, &big)
	var looked struct{ Facets int }
	f.call("GET", "/api/jobs/"+big.ID+"/intake", nil, &looked)
	if f.err == nil && looked.Facets < 1_000_000 {
		f.err = fmt.Errorf("the large part has %d facets", looked.Facets)
	}

	var starter struct{ Text string }
	f.call("GET", "/api/jobs/"+ring.ID+"/batch-starter", nil, &starter)
	f.call("POST", "/api/batches", map[string]string{"name": "rings", "text": starter.Text}, &batch)
	f.call("POST", "/api/batches/"+batch.ID+"/plan", nil, &batch)

	var run struct{ ID, Job string }
	f.call("POST", "/api/jobs/"+ring.ID+"/runs", map[string]any{"operator": "Kim", "shots": 4}, &run)
	f.call("POST", "/api/records/moulds", map[string]any{"name": "ring A", "job": run.Job, "made_on": "2026-03-02", "operator": "Kim"}, &mould)
	for i := range 30 {
		outcome, defects := "good", []map[string]string{}
		if i%3 == 0 {
			outcome, defects = "scrap", []map[string]string{{"code": "void", "place": "rim"}}
		}
		f.call("POST", "/api/records/shots", map[string]any{"mould": mould.ID, "outcome": outcome, "defects": defects, "casting_g": 58 + float64(i%5)/10, "operator": "Kim"}, &shot)
		if i%3 == 0 {
			s.shot = shot.ID
		}
		time.Sleep(110 * time.Millisecond) // within the limit on changes of one client
	}
	var page string
	f.call("GET", "/", nil, &page)
	s.assets = assetName.FindAllString(page, -1)
	s.ring, s.big, s.batch, s.mould, s.run, s.files = ring.ID, big.ID, batch.ID, mould.ID, run.ID, report.Files
	if f.err == nil && len(s.assets) == 0 {
		f.err = fmt.Errorf("the page names no files; build it first (make build)")
	}
	return s, f.err
}

// at joins an address of a job.
func at(job, path string) string { return "/api/jobs/" + url.PathEscape(job) + path }
