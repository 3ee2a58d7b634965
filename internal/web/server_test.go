package web

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"mouldwright/demo/lantern"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
)

// client talks to a server under test as a browser's page of the same origin would.
type client struct {
	t    testing.TB
	base string
	srv  *Server
}

func serve(t testing.TB, opt Options) *client {
	t.Helper()
	if opt.Folder == "" {
		opt.Folder = t.TempDir()
	}
	h := httptest.NewUnstartedServer(nil)
	s, err := newServer(opt.withDefaults(), h.Listener.Addr())
	if err != nil {
		t.Fatal(err)
	}
	h.Config.Handler = s.handler()
	h.Start()
	t.Cleanup(func() {
		h.Close()
		if err := s.close(); err != nil {
			t.Error(err)
		}
	})
	return &client{t, h.URL, s}
}

func (c *client) do(method, path string, body any, headers ...string) (int, []byte) {
	c.t.Helper()
	var r io.Reader
	switch b := body.(type) {
	case nil:
	case []byte:
		r = bytes.NewReader(b)
	default:
		j, err := json.Marshal(b)
		if err != nil {
			c.t.Fatal(err)
		}
		r = bytes.NewReader(j)
	}
	req, err := http.NewRequest(method, c.base+path, r)
	if err != nil {
		c.t.Fatal(err)
	}
	if r != nil {
		req.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i+1 < len(headers); i += 2 {
		if headers[i] == "Host" {
			req.Host = headers[i+1]
		}
		req.Header.Set(headers[i], headers[i+1])
	}
	res, err := http.DefaultTransport.RoundTrip(req)
	if err != nil {
		c.t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		c.t.Fatal(err)
	}
	return res.StatusCode, b
}

// must sends a request that has to succeed, and reads the answer into out.
func (c *client) must(method, path string, body, out any) {
	c.t.Helper()
	status, b := c.do(method, path, body)
	if status >= 300 {
		c.t.Fatalf("%s %s: %d %s", method, path, status, b)
	}
	if out != nil {
		if err := json.Unmarshal(b, out); err != nil {
			c.t.Fatalf("%s %s: %v in %s", method, path, err, b)
		}
	}
}

// finish waits for a task over its stream of events.
func (c *client) finish(job, kind string) TaskState {
	c.t.Helper()
	var t TaskState
	c.must("POST", "/api/jobs/"+job+"/tasks", map[string]string{"kind": kind}, &t)
	status, stream := c.do("GET", "/api/tasks/"+t.ID+"/events", nil)
	if status != 200 {
		c.t.Fatalf("events: %d %s", status, stream)
	}
	for line := range strings.Lines(string(stream)) {
		if data, ok := strings.CutPrefix(line, "data: "); ok {
			if err := json.Unmarshal([]byte(data), &t); err != nil {
				c.t.Fatal(err)
			}
		}
	}
	if !t.Over() {
		c.t.Fatalf("the stream ended while the task was %s", t.State)
	}
	return t
}

// unpack reads a pack's header and the bytes of its arrays.
func unpack(t testing.TB, b []byte, meta any) map[string][]byte {
	t.Helper()
	if len(b) < 8 || string(b[:4]) != packMagic {
		t.Fatalf("no pack: %.40q", b)
	}
	n := int(binary.LittleEndian.Uint32(b[4:]))
	var head struct {
		Meta   json.RawMessage
		Arrays []packArray
	}
	if err := json.Unmarshal(b[8:8+n], &head); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(head.Meta, meta); err != nil {
		t.Fatal(err)
	}
	out := map[string][]byte{}
	size := map[string]int{"f32": 4, "u32": 4, "i16": 2, "u16": 2, "u8": 1}
	for _, a := range head.Arrays {
		out[a.Name] = b[8+n+a.At:][:a.Count*size[a.Type]]
	}
	return out
}

func partFile(t testing.TB, p *lantern.Part) []byte {
	t.Helper()
	path := filepath.Join(t.TempDir(), "part.3mf")
	if err := meshfile.Save(path, &mesh.Model{Unit: mesh.Millimetre, UnitKnown: true, Objects: []mesh.Object{p.Object()}}); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// upload makes a job of a lantern part.
func (c *client) upload(p *lantern.Part) jobView {
	c.t.Helper()
	var up uploadView
	c.must("POST", "/api/uploads?name=Some%20Part.3mf", partFile(c.t, p), &up)
	if len(up.Objects) != 1 || up.Objects[0].Facets != len(p.Mesh.Tris) || !up.UnitKnown || up.Unit != "mm" {
		c.t.Fatalf("upload: %+v", up)
	}
	var j jobView
	c.must("POST", "/api/jobs", newJob{Upload: up.Upload, Name: p.Name, Colours: up.Objects[0].Colours}, &j)
	return j
}

// The whole path of issue and page alike: drop, judge, build, download.
func TestFromPartToProvenMould(t *testing.T) {
	c := serve(t, Options{})
	ring := lantern.FootRing()
	j := c.upload(ring)
	if j.ID != "foot-ring" || j.Name != "foot ring" {
		t.Fatalf("job: %+v", j)
	}

	var part partMeta
	_, b := c.do("GET", "/api/jobs/foot-ring/part.bin", nil)
	arrays := unpack(t, b, &part)
	if part.Facets != len(ring.Mesh.Tris) || len(arrays["corners"]) != 12*part.Facets {
		t.Errorf("part: %+v", part)
	}
	var in intakeView
	c.must("GET", "/api/jobs/foot-ring/intake", nil, &in)
	if d := in.VolumeMM3/ring.Mesh.VolumeMM3() - 1; d > 1e-6 || d < -1e-6 || in.Fatal != "" {
		t.Errorf("intake: %+v; the lantern's volume is %g", in, ring.Mesh.VolumeMM3())
	}
	var show showMeta
	_, b = c.do("GET", "/api/jobs/foot-ring/show.bin", nil)
	marks := unpack(t, b, &show)["show"]
	n := 0
	for _, m := range marks {
		n += int(m)
	}
	want := 0
	for _, on := range ring.Show() {
		if on {
			want++
		}
	}
	if n != want || show.Facets != want {
		t.Errorf("%d show facets in the view, %d in the count, %d in the part", n, show.Facets, want)
	}

	if s := c.finish("foot-ring", "judge"); s.State != Done {
		t.Fatalf("judge: %+v", s)
	}
	var judged judgedView
	judged.judgement = &judgement{}
	c.must("GET", "/api/jobs/foot-ring/judgement", nil, &judged)
	if !judged.Opens || !judged.Fresh || judged.MinDraft < 1.99 || judged.LineMM < 300 {
		t.Errorf("judgement: %+v", judged)
	}
	var loops struct{ Loops int }
	_, b = c.do("GET", "/api/jobs/foot-ring/judgement.bin", nil)
	arrays = unpack(t, b, &loops)
	if loops.Loops == 0 || len(arrays["loop.0"]) == 0 || len(arrays["draft"]) != 2*part.Shown {
		t.Errorf("judged facets: %d loops, %d drafts", loops.Loops, len(arrays["draft"])/2)
	}

	if s := c.finish("foot-ring", "build"); s.State != Done {
		t.Fatalf("build: %+v", s)
	}
	var rep struct {
		Refused bool
		Files   []string
		Mould   struct {
			Pieces []struct{ Name string }
			Checks []struct{ OK bool }
		}
	}
	c.must("GET", "/api/jobs/foot-ring/report", nil, &rep)
	if rep.Refused || len(rep.Mould.Pieces) != 2 || len(rep.Files) == 0 {
		t.Errorf("report: %+v", rep)
	}
	// What a run says of the same part and direction agrees with the judgement before it.
	var mould mouldMeta
	_, b = c.do("GET", "/api/jobs/foot-ring/mould.bin", nil)
	unpack(t, b, &mould)
	if len(mould.Pieces) != 3 || !mould.Pieces[2].Casting || mould.Pieces[0].Exit == [3]float64{} {
		t.Errorf("mould: %+v", mould)
	}
	for _, f := range rep.Files {
		status, got := c.do("GET", "/api/jobs/foot-ring/out/"+f, nil)
		want, err := os.ReadFile(filepath.Join(c.srv.work.dir, "foot-ring", "out", f))
		if err != nil || status != 200 || !bytes.Equal(got, want) {
			t.Errorf("download of %s: %d, %d bytes, on disk %d (%v)", f, status, len(got), len(want), err)
		}
	}
	var now jobView
	c.must("GET", "/api/jobs/foot-ring", nil, &now)
	if !now.HasReport || now.Stale || now.Refused {
		t.Errorf("after the build: %+v", now)
	}
	time.Sleep(10 * time.Millisecond) // file times are that coarse on some systems
	c.must("PATCH", "/api/jobs/foot-ring/decisions", map[string]any{"tag": now.Tag, "set": map[string]any{"mould.wall_mm": 14}}, &now)
	if !now.Stale {
		t.Error("a change after the build does not show")
	}
}

func TestRefusalNamesThePlace(t *testing.T) {
	c := serve(t, Options{})
	var j jobView
	c.must("POST", "/api/jobs", newJob{Demo: "bumper cap"}, &j)
	// One direction instead of a search: a refusal of six would take six times as long.
	c.must("PATCH", "/api/jobs/"+j.ID+"/decisions", map[string]any{"set": map[string]any{"opening.direction": []int{0, 0, 1}}}, &j)
	if s := c.finish(j.ID, "judge"); s.State != Done {
		t.Fatalf("judge: %+v", s)
	}
	judged := judgedView{judgement: &judgement{}}
	c.must("GET", "/api/jobs/"+j.ID+"/judgement", nil, &judged)
	if judged.Opens || len(judged.Undercuts) == 0 || judged.Undercuts[0].DepthMM == nil {
		t.Fatalf("the cap locks, but: %+v", judged.judgement)
	}
	_, b := c.do("GET", "/api/jobs/"+j.ID+"/judgement.bin", nil)
	cut := unpack(t, b, &struct{}{})["undercut"]
	n := 0
	for i := 0; i < len(cut); i += 2 {
		if binary.LittleEndian.Uint16(cut[i:]) == 1 {
			n++
		}
	}
	if n != judged.Undercuts[0].Facets {
		t.Errorf("%d facets are marked, the undercut has %d", n, judged.Undercuts[0].Facets)
	}
	if s := c.finish(j.ID, "build"); s.State != Refused {
		t.Fatalf("build: %+v", s)
	}
	var now jobView
	c.must("GET", "/api/jobs/"+j.ID, nil, &now)
	if !now.Refused || !now.HasReport {
		t.Errorf("after the refusal: %+v", now)
	}
	if status, _ := c.do("GET", "/api/jobs/"+j.ID+"/mould.bin", nil); status != 404 {
		t.Errorf("a refused job gives a mould: %d", status)
	}
}

func TestDecisionErrorsHaveAPlace(t *testing.T) {
	c := serve(t, Options{})
	var j jobView
	c.must("POST", "/api/jobs", newJob{Demo: "foot ring"}, &j)
	var d decisionsView
	c.must("GET", "/api/jobs/foot-ring/decisions", nil, &d)
	bad := strings.Replace(d.Text, "wall_mm = 12", "wal_mm = 12", 1)
	line := 1 + strings.Count(bad[:strings.Index(bad, "wal_mm")], "\n")
	status, b := c.do("PUT", "/api/jobs/foot-ring/decisions", map[string]string{"tag": d.Tag, "text": bad})
	var p Problem
	if err := json.Unmarshal(b, &p); err != nil {
		t.Fatal(err)
	}
	if status != 422 || p.Place == nil || p.Place.Line != line || p.Place.Column != 1 || p.Place.Key != "mould.wal_mm" {
		t.Errorf("%d %s, want line %d", status, b, line)
	}
	var after decisionsView
	c.must("GET", "/api/jobs/foot-ring/decisions", nil, &after)
	if after != d {
		t.Error("an unsound text was saved")
	}
	if status, b := c.do("PUT", "/api/jobs/foot-ring/decisions", map[string]string{"tag": "older", "text": d.Text}); status != 409 {
		t.Errorf("an outdated tag: %d %s", status, b)
	}
	if status, b := c.do("PATCH", "/api/jobs/foot-ring/decisions", map[string]any{"set": map[string]any{"mould.wall_mm": 9999}}); status != 422 || !strings.Contains(string(b), "9999") {
		t.Errorf("a wall of 9999 mm: %d %s", status, b)
	}
}

// A picked face marks just that face, a second click unmarks it, and job.toml holds it in between.
func TestPickFace(t *testing.T) {
	c := serve(t, Options{})
	ring := lantern.FootRing()
	var j jobView
	var up uploadView
	c.must("POST", "/api/uploads?name=ring.3mf", partFile(t, ring), &up)
	c.must("POST", "/api/jobs", newJob{Upload: up.Upload, Name: "foot ring"}, &j)
	var at [3]float64
	free := -1
	for f, on := range ring.Show() {
		if !on && (free < 0 || ring.Mesh.Facet(f).Area() > ring.Mesh.Facet(free).Area()) {
			free = f
			at = array(ring.Mesh.Facet(f).Centroid())
		}
	}
	before := c.marks("foot-ring")
	c.must("POST", "/api/jobs/foot-ring/show/pick", map[string]any{"at": at}, &j)
	after := c.marks("foot-ring")
	if after[free] != 1 || bytes.Count(after, []byte{1}) <= bytes.Count(before, []byte{1}) {
		t.Fatalf("the picked facet is not marked")
	}
	d, err := os.ReadFile(filepath.Join(c.srv.work.dir, "foot-ring", "job.toml"))
	if err != nil || !strings.Contains(string(d), "\n[[show.pick]]\nat = [") {
		t.Errorf("job.toml holds no pick: %v\n%s", err, d)
	}
	c.must("POST", "/api/jobs/foot-ring/show/pick", map[string]any{"at": at}, &j)
	if c.marks("foot-ring")[free] != 0 {
		t.Error("a second click does not unmark")
	}
	if status, _ := c.do("POST", "/api/jobs/foot-ring/show/pick", map[string]any{"at": []float64{1e4, 0, 0}}); status != 422 {
		t.Errorf("a point far off the part: %d", status)
	}
	// A rule by colour that grows over every edge reaches the face too, so a second click cannot unmark it; it says so.
	c.must("POST", "/api/jobs/foot-ring/show/pick", map[string]any{"at": at}, &j)
	c.must("PATCH", "/api/jobs/foot-ring/decisions", map[string]any{"set": map[string]any{"show.colours": []string{"#ffbf00"}, "show.grow_deg": 90}}, &j)
	c.must("POST", "/api/jobs/foot-ring/show/pick", map[string]any{"at": at}, &j)
	if j.Notice == "" || c.marks("foot-ring")[free] != 1 {
		t.Error("the face stays marked by the other rule, and nobody is told")
	}
	c.must("POST", "/api/jobs/foot-ring/show/remove", map[string]any{"kind": "colour", "index": 0}, &j)
	if bytes.Contains(c.marks("foot-ring"), []byte{1}) {
		t.Error("facets stay marked without any rule")
	}
	// A pick can be taken out of the list as well.
	c.must("POST", "/api/jobs/foot-ring/show/pick", map[string]any{"at": at}, &j)
	c.must("POST", "/api/jobs/foot-ring/show/remove", map[string]any{"kind": "pick", "index": 0}, &j)
	if bytes.Contains(c.marks("foot-ring"), []byte{1}) {
		t.Error("the face stays marked without its pick")
	}
}

func (c *client) marks(job string) []byte {
	c.t.Helper()
	_, b := c.do("GET", "/api/jobs/"+job+"/show.bin", nil)
	return unpack(c.t, b, &showMeta{})["show"]
}

func TestCancelLeavesNothing(t *testing.T) {
	c := serve(t, Options{})
	var j jobView
	c.must("POST", "/api/jobs", newJob{Demo: "foot ring"}, &j)
	var task TaskState
	c.must("POST", "/api/jobs/foot-ring/tasks", map[string]string{"kind": "build"}, &task)
	if status, _ := c.do("POST", "/api/jobs/foot-ring/tasks", map[string]string{"kind": "build"}); status != 409 {
		t.Errorf("a second task at once: %d", status)
	}
	c.must("DELETE", "/api/tasks/"+task.ID, nil, nil)
	_, _ = c.do("GET", "/api/tasks/"+task.ID+"/events", nil) // returns when it has ended
	c.must("GET", "/api/tasks/"+task.ID, nil, &task)
	if task.State != Stopped {
		t.Errorf("cancelled: %+v", task)
	}
	if _, err := os.Stat(filepath.Join(c.srv.work.dir, "foot-ring", "out")); err == nil {
		t.Error("a cancelled build left results")
	}
}
