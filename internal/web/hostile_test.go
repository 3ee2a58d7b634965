package web

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"mime"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"mouldwright/internal/record"
)

// These tests take every operation from the server's own description, so a new one is tried without a word
// here; only a new name in a path needs a value in target.good.

// apiSchema is as much of a JSON schema as is needed to make a body.
type apiSchema struct {
	Ref        string                `json:"$ref"`
	Type       any                   `json:"type"` // a string, or a list with "null" in it
	Enum       []any                 `json:"enum"`
	Properties map[string]*apiSchema `json:"properties"`
	Items      *apiSchema            `json:"items"`
	Format     string                `json:"format"`
	MinItems   int                   `json:"minItems"`
}

type apiParam struct {
	Name, In string
}

type apiOperation struct {
	method, path string
	ID           string     `json:"operationId"`
	Parameters   []apiParam `json:"parameters"`
	Body         *struct {
		Content map[string]struct {
			Schema *apiSchema `json:"schema"`
		} `json:"content"`
	} `json:"requestBody"`
}

// target is a server with something of everything in it, and a secret beside its folder.
type target struct {
	srv     *Server
	handler http.Handler
	host    string
	dir     string
	ops     []apiOperation
	methods map[string][]string // by path
	schemas map[string]*apiSchema
	good    map[string]string // values for names in paths
	values  map[string]any    // values for fields of bodies, by name or OPERATION.name
	clients atomic.Uint32
}

const secret = "SECRET-OF-THIS-MACHINE"

func newTarget(t testing.TB) *target {
	t.Helper()
	g := &target{dir: workspaceWithRing(t)}
	if err := os.WriteFile(filepath.Join(filepath.Dir(g.dir), "secret.txt"), []byte(secret), 0o600); err != nil {
		t.Fatal(err)
	}
	l := httptest.NewUnstartedServer(nil)
	g.host = l.Listener.Addr().String()
	var err error
	if g.srv, err = newServer(Options{Folder: g.dir}.withDefaults(), l.Listener.Addr()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		l.Listener.Close()
		if err := g.srv.close(); err != nil {
			t.Error(err)
		}
	})
	g.handler = g.srv.handler()
	g.describe(t)
	g.furnish(t)
	return g
}

// describe reads the operations.
func (g *target) describe(t testing.TB) {
	t.Helper()
	var d struct {
		Paths      map[string]map[string]apiOperation
		Components struct{ Schemas map[string]*apiSchema }
	}
	g.ask(t, "GET", "/api/openapi.json", nil, &d)
	g.schemas, g.methods = d.Components.Schemas, map[string][]string{}
	for _, path := range slices.Sorted(maps.Keys(d.Paths)) {
		for _, method := range slices.Sorted(maps.Keys(d.Paths[path])) {
			op := d.Paths[path][method]
			op.method, op.path = strings.ToUpper(method), path
			g.ops = append(g.ops, op)
			g.methods[path] = append(g.methods[path], op.method)
		}
	}
	if len(g.ops) < 40 {
		t.Fatalf("the description holds %d operations", len(g.ops))
	}
}

// furnish puts a run, a mould, a casting, a batch and a task there.
func (g *target) furnish(t testing.TB) {
	t.Helper()
	batchText, err := os.ReadFile("../../demo/batch/batch.toml")
	if err != nil {
		t.Fatal(err)
	}
	jobText, err := os.ReadFile(filepath.Join(g.dir, ringID, "job.toml"))
	if err != nil {
		t.Fatal(err)
	}
	var run runView
	var mould record.Mould
	var shot record.Shot
	var batch batchView
	var task TaskState
	g.ask(t, "POST", "/api/jobs/"+ringID+"/runs", newRun{Operator: "Kim"}, &run)
	g.ask(t, "POST", "/api/records/moulds", newMould{Name: "ring A", Job: run.Job, MadeOn: "2026-03-02", Operator: "Kim"}, &mould)
	g.ask(t, "POST", "/api/records/shots", newShot{Mould: mould.ID, Outcome: "scrap", Operator: "Kim", Defects: []record.Defect{{Code: "void"}}}, &shot)
	g.ask(t, "POST", "/api/batches", map[string]string{"name": "rings", "text": string(batchText)}, &batch)
	g.ask(t, "POST", "/api/jobs/"+ringID+"/tasks", map[string]string{"kind": "judge"}, &task)
	g.good = map[string]string{"job": ringID, "run": run.ID, "batch": batch.ID, "task": task.ID, "shot": shot.ID, "name": "shots.csv"}
	g.values = map[string]any{"operator": "Kim", "mould": mould.ID, "run": run.ID, "step": run.Steps[0].Step, "made_on": "2026-03-02", "casting_g": 58, "cavity": 1,
		"text": string(batchText), "putDecisions.text": string(jobText), "set": map[string]any{"mould.wall_mm": 13}, "code": "void"}
}

// recorder takes time limits, as the writers of a true server do.
type recorder struct{ *httptest.ResponseRecorder }

func (*recorder) SetReadDeadline(time.Time) error  { return nil }
func (*recorder) SetWriteDeadline(time.Time) error { return nil }

// request is what is sent, from no browser unless headers say so.
type request struct {
	method, path, query string
	body                []byte
	contentType         string
	headers             map[string]string
	host                string
	within              time.Duration
}

func (g *target) send(q request) *recorder {
	r := httptest.NewRequest("GET", "/", bytes.NewReader(q.body))
	r.Method, r.Host = q.method, g.host
	if q.host != "" {
		r.Host = q.host
	}
	u, err := url.Parse("http://" + g.host + q.path)
	if err != nil {
		u = &url.URL{Path: q.path}
	}
	u.RawQuery = q.query
	r.URL = u
	r.RequestURI = u.RequestURI()
	if q.contentType != "" {
		r.Header.Set("Content-Type", q.contentType)
	}
	for k, v := range q.headers {
		r.Header.Set(k, v)
	}
	n := g.clients.Add(1) // each from another address, so that no limit on one client hides a fault
	r.RemoteAddr = fmt.Sprintf("10.%d.%d.%d:9", n>>16&255, n>>8&255, n&255)
	if q.within == 0 {
		q.within = 5 * time.Second
	}
	ctx, cancel := context.WithTimeout(context.Background(), q.within)
	defer cancel()
	w := &recorder{httptest.NewRecorder()}
	g.handler.ServeHTTP(w, r.WithContext(ctx))
	return w
}

func (g *target) ask(t testing.TB, method, path string, body, out any) {
	t.Helper()
	b, err := json.Marshal(body)
	if err != nil {
		t.Fatal(err)
	}
	w := g.send(request{method: method, path: path, body: b, contentType: "application/json"})
	if w.Code >= 300 || json.Unmarshal(w.Body.Bytes(), out) != nil {
		t.Fatalf("%s %s: %d %s", method, path, w.Code, w.Body)
	}
}

// sample is a value that fits a schema, if not always its sense.
func (g *target) sample(op, name string, s *apiSchema) any {
	for _, known := range []string{op + "." + name, name} {
		if v, ok := g.values[known]; ok {
			return v
		}
	}
	s = g.resolve(s)
	if s == nil {
		return nil
	}
	if len(s.Enum) > 0 {
		return s.Enum[0]
	}
	switch kind := s.kind(); kind {
	case "object":
		out := map[string]any{}
		for k, p := range s.Properties {
			out[k] = g.sample(op, k, p)
		}
		return out
	case "array":
		out := []any{}
		for range s.MinItems {
			out = append(out, g.sample(op, "", s.Items))
		}
		return out
	case "integer", "number":
		return 1
	case "boolean":
		return true
	}
	if s.Format == "date-time" {
		return "2026-03-02T09:00:00Z"
	}
	return "x"
}

func (g *target) resolve(s *apiSchema) *apiSchema {
	for s != nil && s.Ref != "" {
		s = g.schemas[s.Ref[strings.LastIndex(s.Ref, "/")+1:]]
	}
	return s
}

func (s *apiSchema) kind() string {
	switch k := s.Type.(type) {
	case string:
		return k
	case []any:
		for _, e := range k {
			if e != "null" {
				return fmt.Sprint(e)
			}
		}
	}
	return ""
}

// slow operations are given little time: what is asked here is whether they refuse, not what they find.
var slow = map[string]time.Duration{"closeLid": 30 * time.Millisecond, "planBatch": 30 * time.Millisecond, "watchTask": 30 * time.Millisecond}

// plain is a good request for an operation.
func (g *target) plain(t testing.TB, op apiOperation) request {
	t.Helper()
	q := request{method: op.method, path: op.path, within: slow[op.ID]}
	for _, p := range op.Parameters {
		if p.In != "path" {
			continue
		}
		v, ok := g.good[p.Name]
		if !ok {
			t.Fatalf("%s: target.good needs a value for {%s}", op.ID, p.Name)
		}
		q.path = strings.ReplaceAll(q.path, "{"+p.Name+"}", url.PathEscape(v))
	}
	if op.Body == nil {
		return q
	}
	if c, ok := op.Body.Content["application/json"]; ok {
		b, err := json.Marshal(g.sample(op.ID, "", c.Schema))
		if err != nil {
			t.Fatal(err)
		}
		q.body, q.contentType = b, "application/json"
		return q
	}
	q.body, q.contentType = []byte("solid x\nendsolid x\n"), "application/octet-stream"
	return q
}

// sound says what is wrong with an answer to a hostile request; "" when nothing is.
func (g *target) sound(w *recorder) string {
	b := w.Body.String()
	switch {
	case w.Code >= 500 && w.Code != http.StatusNotImplemented && w.Code != http.StatusServiceUnavailable:
		return "a fault of the server"
	case strings.Contains(b, secret) || strings.Contains(b, "root:x:0"):
		return "a file from outside"
	case strings.Contains(b, filepath.Dir(g.dir)):
		return "where files lie on this machine"
	case w.Header().Get("X-Evil") != "":
		return "a header from the request's text"
	case w.Code >= 400 && w.Header().Get("Content-Type") != "application/problem+json":
		return "a refusal of type " + w.Header().Get("Content-Type")
	}
	for name, values := range w.Header() {
		for _, v := range values {
			if strings.ContainsAny(name+v, "\r\n\x00") {
				return "a header that breaks out of its line"
			}
		}
	}
	if d := w.Header().Get("Content-Disposition"); d != "" {
		if _, params, err := mime.ParseMediaType(d); err != nil || strings.ContainsAny(params["filename"], "/\\") {
			return "Content-Disposition " + d
		}
	}
	return ""
}

var hostileTexts = []string{"", " ", ".", "..", "../secret.txt", "../../../../../../etc/passwd", "..%2fsecret.txt", "..\\secret.txt", "/etc/passwd", "file:///etc/passwd", "a\x00b",
	"a\r\nX-Evil: 1", "\"; filename=\"evil", "=cmd|' /C calc'!A0", "'; DROP TABLE shots; --", "<script>alert(1)</script>", "\xff\xfe", "\u202e\u0007", "NaN", "-1", "1e999",
	"99999999999999999999", "0x7fffffffffffffff", "null", strings.Repeat("A", 3000), "{{7*7}}", "con", "job.toml", "records.db", "😀"}

var hostileJSON = []string{"null", "true", "-1", "0.1", "1e308", "-1e308", "1e999", "9223372036854775808", "NaN", `""`, `"x"`, `"\u0000"`, `"\ud800"`, `"../secret.txt"`, `"/etc/passwd"`, `"a\r\nX-Evil: 1"`,
	`"=1+1"`, "[]", "{}", `[null]`, `[1e308,1e308,1e308]`, `["../secret.txt"]`, `{"a":{"b":[1]}}`, `{"part.file":"/etc/passwd"}`, `"` + strings.Repeat("A", 25_000) + `"`, strings.Repeat("[", 9_000) + strings.Repeat("]", 9_000)}

// largeJSON is sent as whole bodies alone.
var largeJSON = []string{strings.Repeat("[", 20_000), strings.Repeat(`{"a":`, 5_000) + "1" + strings.Repeat("}", 5_000), "[" + strings.Repeat("1,", 50_000) + "1]", `"` + strings.Repeat("A", 2<<20) + `"`}

var otherTypes = []string{"", "text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "application/cbor", "text/xml", "application/json; charset=utf-16", "a\r\nb", "*/*"}

// hostile makes the hostile requests for an operation.
func (g *target) hostile(t testing.TB, op apiOperation, try func(what string, q request)) {
	t.Helper()
	plain := g.plain(t, op)
	for _, p := range op.Parameters {
		for _, h := range hostileTexts {
			q := plain
			switch p.In {
			case "path":
				q.path = strings.Replace(strings.Replace(op.path, "{"+p.Name+"}", url.PathEscape(h), 1), "{job}", ringID, 1)
			case "query":
				q.query = url.Values{p.Name: {h}}.Encode()
			default:
				q.headers = map[string]string{p.Name: strings.Map(func(r rune) rune {
					if r < ' ' {
						return '?' // the transport refuses those before we see them
					}
					return r
				}, h)}
			}
			try(fmt.Sprintf("%s %s = %.40q", p.In, p.Name, h), q)
		}
	}
	for _, raw := range []string{"nothing=1", "a=1;b=2", "%zz", strings.Repeat("a=1&", 3000), "\x01"} {
		q := plain
		q.query = raw
		try(fmt.Sprintf("query %.20q", raw), q)
	}
	if plain.body == nil {
		q := plain
		q.body, q.contentType = []byte(`{"a":1}`), "application/json"
		try("a body that nobody asked for", q)
		return
	}
	for _, kind := range otherTypes {
		q := plain
		q.contentType = kind
		try("content type "+kind, q)
	}
	for _, h := range append([]string{"", "{", "\x00", `{"a":1}{"b":2}`, "\xef\xbb\xbf{}"}, append(largeJSON, hostileJSON...)...) {
		q := plain
		q.body = []byte(h)
		try(fmt.Sprintf("body %.40q", h), q)
	}
	var fields map[string]json.RawMessage
	if json.Unmarshal(plain.body, &fields) != nil {
		return
	}
	for _, name := range slices.Sorted(maps.Keys(fields)) {
		kept := fields[name]
		for _, h := range hostileJSON {
			fields[name] = json.RawMessage("0")
			b, err := json.Marshal(fields)
			if err != nil {
				t.Fatal(err)
			}
			q := plain
			// By hand: some of these are no JSON.
			q.body = bytes.Replace(b, []byte(`"`+name+`":0`), []byte(`"`+name+`":`+h), 1)
			try(fmt.Sprintf("body %s = %.40s", name, h), q)
		}
		fields[name] = kept
	}
}

// Whatever is asked, the server answers within its statuses, gives nothing of the machine away and writes
// nothing outside its folder.
func TestHostileRequests(t *testing.T) {
	g := newTarget(t)
	tried, worst := 0, time.Duration(0)
	for _, op := range g.ops {
		g.hostile(t, op, func(what string, q request) {
			tried++
			began := time.Now()
			w := g.send(q)
			worst = max(worst, time.Since(began))
			if wrong := g.sound(w); wrong != "" {
				t.Errorf("%s %s, %s: %s: %d %.300s", op.method, op.path, what, wrong, w.Code, w.Body)
			}
		})
	}
	t.Logf("%d requests to %d operations, the slowest %v", tried, len(g.ops), worst)
	beside, err := os.ReadDir(filepath.Dir(g.dir))
	if err != nil || len(beside) != 2 {
		t.Errorf("beside the folder of jobs lie %v (%v), not it and the secret alone", beside, err)
	}
}

// A part may be called anything, and so may its file; its folder keeps to plain letters.
func TestHostileNames(t *testing.T) {
	g := newTarget(t)
	for _, h := range hostileTexts {
		file := request{method: "POST", path: "/api/uploads", query: url.Values{"name": {h + ".stl"}}.Encode(), body: binarySTL(1), contentType: "application/octet-stream"}
		w := g.send(file)
		if wrong := g.sound(w); wrong != "" {
			t.Errorf("a file called %.40q: %s: %d %s", h, wrong, w.Code, w.Body)
		}
		var up uploadView
		if w.Code >= 300 {
			file.query = "name=a.stl"
			w = g.send(file)
		}
		if err := json.Unmarshal(w.Body.Bytes(), &up); err != nil || up.Upload == "" {
			t.Fatalf("%d %s (%v)", w.Code, w.Body, err)
		}
		for _, n := range []newJob{{Upload: up.Upload, Object: h, Name: "a"}, {Upload: up.Upload, Material: h, Name: "b"}, {Upload: up.Upload, Colours: []string{h}, Name: "c"}, {Upload: up.Upload, Name: h}, {Upload: h}, {Demo: h}} {
			b, err := json.Marshal(n)
			if err != nil {
				t.Fatal(err)
			}
			if w := g.send(request{method: "POST", path: "/api/jobs", body: b, contentType: "application/json"}); g.sound(w) != "" {
				t.Errorf("a job of %.200s: %s: %d %s", b, g.sound(w), w.Code, w.Body)
			}
		}
	}
	ids, err := g.srv.work.ids()
	if err != nil || len(ids) < 5 {
		t.Errorf("jobs %v (%v)", ids, err)
	}
	for _, id := range ids {
		if slug(id) != id {
			t.Errorf("a folder is called %q", id)
		}
	}
	w := g.send(request{method: "GET", path: "/api/jobs"}) // all of them are listed
	if wrong := g.sound(w); wrong != "" || w.Code != 200 {
		t.Errorf("the list: %s: %d %s", wrong, w.Code, w.Body)
	}
}

// trace is what another site might change: files, records and tasks.
func (g *target) trace(t testing.TB) string {
	t.Helper()
	var b strings.Builder
	err := filepath.WalkDir(g.dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || strings.Contains(d.Name(), ".db") { // the line of work breathes by itself
			return err
		}
		text, err := os.ReadFile(path)
		fmt.Fprintf(&b, "%s %s\n", path, tagOf(text))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	err = g.srv.books.read(context.Background(), func(r *record.Reader) error {
		events, err := r.Events()
		fmt.Fprintln(&b, len(events))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	task, _, err := g.srv.tasks.Latest(context.Background(), ringID)
	if err != nil {
		t.Fatal(err)
	}
	fmt.Fprintln(&b, task.ID, task.State == Stopped)
	return b.String()
}

// A good request of every operation, sent by another site's page or to another name, is refused and changes
// nothing.
func TestEveryOperationRefusesOtherSites(t *testing.T) {
	g := newTarget(t)
	before := g.trace(t)
	_, port, _ := strings.Cut(g.host, ":")
	for _, op := range g.ops {
		for _, from := range []struct {
			headers map[string]string
			host    string
			want    int
		}{
			{map[string]string{"Origin": "http://evil.example", "Sec-Fetch-Site": "cross-site"}, "", 403},
			{map[string]string{"Origin": "http://evil.example"}, "", 403},
			{map[string]string{"Origin": "null"}, "", 403},
			{map[string]string{"Origin": "http://" + g.host + ".evil.example"}, "", 403},
			{map[string]string{"Origin": "http://localhost:1", "Sec-Fetch-Site": "same-site"}, "", 403},
			{map[string]string{"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors"}, "", 403},
			{map[string]string{"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate"}, "", 403},
			{nil, "evil.example:" + port, 421},
			{nil, "evil.example", 421},
			{map[string]string{"Origin": "http://evil.example:" + port, "Sec-Fetch-Site": "same-origin"}, "evil.example:" + port, 421},
			{map[string]string{"X-Forwarded-Host": g.host}, "evil.example:" + port, 421},
		} {
			q := g.plain(t, op)
			q.headers, q.host = from.headers, from.host
			for _, kind := range []string{q.contentType, "text/plain"} {
				q.contentType = kind
				if w := g.send(q); w.Code != from.want || g.sound(w) != "" {
					t.Errorf("%s from %v to %q: %d %s, want %d", op.ID, from.headers, from.host, w.Code, w.Body, from.want)
				}
			}
		}
	}
	if g.trace(t) != before {
		t.Error("a refused request changed something")
	}
}

// An address takes the methods of its description and no other.
func TestEveryAddressRefusesOtherMethods(t *testing.T) {
	g := newTarget(t)
	before := g.trace(t)
	for _, op := range g.ops {
		for _, method := range []string{"GET", "PUT", "POST", "PATCH", "DELETE", "OPTIONS", "TRACE", "CONNECT", "PROPFIND", "get"} {
			if slices.Contains(g.methods[op.path], method) {
				continue
			}
			q := g.plain(t, op)
			q.method = method
			if w := g.send(q); w.Code != http.StatusMethodNotAllowed && w.Code != http.StatusNotFound || g.sound(w) != "" {
				t.Errorf("%s %s: %d %.200s", method, q.path, w.Code, w.Body)
			}
		}
	}
	if g.trace(t) != before {
		t.Error("a refused request changed something")
	}
}

// FuzzAPI goes on from a good request of each operation: go test -fuzz FuzzAPI ./internal/web
func FuzzAPI(f *testing.F) {
	g := newTarget(f)
	for i, op := range g.ops {
		q := g.plain(f, op)
		f.Add(uint8(i), "x", "a=b", q.body, q.contentType)
	}
	f.Fuzz(func(t *testing.T, at uint8, text, query string, body []byte, contentType string) {
		op := g.ops[int(at)%len(g.ops)]
		for _, p := range append([]apiParam{{}}, op.Parameters...) { // with one value in the path changed, or none
			q := g.plain(t, op)
			if p.In == "path" {
				q.path = strings.Replace(strings.Replace(op.path, "{"+p.Name+"}", url.PathEscape(text), 1), "{job}", ringID, 1)
			}
			q.query, q.body, q.contentType = query, body, contentType
			if w := g.send(q); g.sound(w) != "" {
				t.Fatalf("%s %s?%s: %s: %d %s", q.method, q.path, q.query, g.sound(w), w.Code, w.Body)
			}
		}
	})
}

// A run of the most fillings that may be asked for can be begun, signed and printed.
func TestLargestRun(t *testing.T) {
	g := newTarget(t)
	var run, signed runView
	g.ask(t, "POST", "/api/jobs/"+ringID+"/runs", newRun{Operator: "Kim", BenchChoice: BenchChoice{Shots: 1000}}, &run)
	g.ask(t, "POST", "/api/runs/"+run.ID+"/signs", signature{Step: run.Steps[0].Step, Operator: "Kim"}, &signed)
	if run.Plan.Shots != 1000 || signed.Done != 1 {
		t.Errorf("%d fillings, %d signed", run.Plan.Shots, signed.Done)
	}
	if w := g.send(request{method: "GET", path: "/api/jobs/" + ringID + "/sheet.pdf", query: "shots=1000", within: time.Minute}); w.Code != 200 {
		t.Errorf("its sheet: %d %s", w.Code, w.Body)
	}
	if w := g.send(request{method: "GET", path: "/api/jobs/" + ringID + "/plan", query: "shots=1001"}); w.Code != 422 {
		t.Errorf("one more: %d", w.Code)
	}
}

// Costly answers are limited for each client, and a few are made at a time.
func TestTurnstile(t *testing.T) {
	c := serve(t, Options{Folder: workspaceWithRing(t)})
	seen := map[int]int{}
	for range costlyBurst + 20 {
		status, _ := c.do("GET", "/api/jobs/none/plan", nil)
		seen[status]++
	}
	if seen[404] < costlyBurst || seen[429] == 0 || len(seen) != 2 {
		t.Errorf("%d plans in a row: %v", costlyBurst+20, seen)
	}
	if status, _ := c.do("GET", "/api/jobs", nil); status != 200 {
		t.Errorf("a list afterwards: %d", status)
	}

	s := &turnstile{places: make(chan struct{}, 1), most: 1, wait: math.MaxInt64}
	r := httptest.NewRequest("GET", "/", nil)
	if !s.enter(r) {
		t.Fatal("nobody is in, and the first is refused")
	}
	in := make(chan bool)
	go func() { in <- s.enter(r) }()
	for s.waiting.Load() == 0 {
		time.Sleep(time.Millisecond)
	}
	if s.enter(r) {
		t.Error("one is in, one waits, and a third is let in")
	}
	<-s.places
	if !<-in {
		t.Error("the one that waited is sent away")
	}
	s.wait = time.Millisecond
	if s.enter(r) {
		t.Error("let in while one is in")
	}
}

// A key means one addition: the second try gives the same record back, and elsewhere it is another key.
func TestSameKeyGivesTheSameRecord(t *testing.T) {
	c := serve(t, Options{Folder: workspaceWithRing(t)})
	var a, b runView
	c.must("POST", "/api/jobs/"+ringID+"/runs", newRun{Operator: "Kim", Key: "k"}, &a)
	c.must("POST", "/api/jobs/"+ringID+"/runs", newRun{Operator: "Kim", Key: "k"}, &b)
	if a.ID == "" || a.ID != b.ID {
		t.Errorf("runs %q and %q", a.ID, b.ID)
	}
	var m, again record.Mould
	mould := newMould{Name: "ring A", Job: a.Job, MadeOn: "2026-03-02", Operator: "Kim", Key: "k"}
	c.must("POST", "/api/records/moulds", mould, &m)
	c.must("POST", "/api/records/moulds", mould, &again)
	if m.ID == "" || m != again {
		t.Errorf("moulds %+v and %+v", m, again)
	}
	var other runView
	c.must("POST", "/api/jobs/"+ringID+"/runs", newRun{Operator: "Kim", Key: "k2"}, &other)
	for i, run := range []runView{a, other, a} {
		var v runView
		c.must("POST", "/api/runs/"+run.ID+"/signs", signature{Step: run.Steps[0].Step, Operator: "Kim", Key: "k"}, &v)
		if v.Done != 1 {
			t.Errorf("%d: %d steps of %s are signed", i, v.Done, run.ID)
		}
	}
	var list []runView
	c.must("GET", "/api/jobs/"+ringID+"/runs?most=1", nil, &list)
	if len(list) != 1 || list[0].ID != other.ID {
		t.Errorf("the last run: %+v", list)
	}
}
