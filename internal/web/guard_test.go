package web

import (
	"bytes"
	"errors"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestRefusesToBeExposed(t *testing.T) {
	for _, addr := range []string{"0.0.0.0:0", ":0", "[::]:0", "192.0.2.1:80", "bench.example:80"} {
		err := (Options{Addr: addr}).check()
		if !errors.Is(err, ErrExposed) || !strings.Contains(err.Error(), "MOULDWRIGHT_TOKEN=") {
			t.Errorf("%s: %v; want a refusal that says how to set a token", addr, err)
		}
		if err := (Options{Addr: addr, Token: suggestToken()}).check(); err != nil {
			t.Errorf("%s with a token: %v", addr, err)
		}
		if err := (Options{Addr: addr, Token: "short"}).check(); err == nil {
			t.Errorf("%s with a short token is taken", addr)
		}
	}
	for _, addr := range []string{"127.0.0.1:0", "localhost:1", "[::1]:0", "127.9.9.9:1"} {
		if err := (Options{Addr: addr}).check(); err != nil {
			t.Errorf("%s: %v", addr, err)
		}
	}
	if err := (Options{Addr: "127.0.0.1:0", CertFile: "a"}).check(); err == nil {
		t.Error("a certificate without a key is taken")
	}
}

// Each row is a request that another site, or another name for this machine, could make a browser send.
func TestRefusesOtherSites(t *testing.T) {
	c := serve(t, Options{Hosts: []string{"bench.lan"}})
	_, port, _ := net.SplitHostPort(strings.TrimPrefix(c.base, "http://"))
	for _, q := range []struct {
		name, method, path string
		headers            []string
		want               int
	}{
		{"plain", "GET", "/api/jobs", nil, 200},
		{"localhost", "GET", "/api/jobs", []string{"Host", "localhost:" + port}, 200},
		{"named host", "GET", "/api/jobs", []string{"Host", "bench.lan:" + port}, 200},
		{"rebinding", "GET", "/api/jobs", []string{"Host", "evil.example:" + port}, 421},
		{"rebinding, page", "GET", "/", []string{"Host", "evil.example"}, 421},
		{"other port", "GET", "/api/jobs", []string{"Host", "127.0.0.1:1"}, 421},
		{"look-alike", "GET", "/api/jobs", []string{"Host", "localhost.evil.example:" + port}, 421},
		{"cross-site post", "POST", "/api/jobs", []string{"Origin", "http://evil.example", "Sec-Fetch-Site", "cross-site"}, 403},
		{"cross-site post, old browser", "POST", "/api/jobs", []string{"Origin", "http://evil.example"}, 403},
		{"null origin", "POST", "/api/jobs", []string{"Origin", "null"}, 403},
		{"other local port", "POST", "/api/jobs", []string{"Origin", "http://localhost:1", "Sec-Fetch-Site", "same-site"}, 403},
		{"cross-site read", "GET", "/api/jobs", []string{"Sec-Fetch-Site", "cross-site"}, 403},
		{"cross-site image", "GET", "/api/jobs/a/out/pictures/b.png", []string{"Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "no-cors"}, 403},
		{"cross-site read with origin", "GET", "/api/jobs", []string{"Origin", "https://evil.example"}, 403},
		{"own origin", "GET", "/api/jobs", []string{"Origin", c.base, "Sec-Fetch-Site", "same-origin"}, 200},
		{"preflight", "OPTIONS", "/api/jobs", []string{"Origin", "http://evil.example", "Access-Control-Request-Method", "POST"}, 403},
	} {
		var body any
		if q.method == "POST" {
			body = map[string]string{"demo": "foot ring"}
		}
		if status, b := c.do(q.method, q.path, body, q.headers...); status != q.want {
			t.Errorf("%s: %d %s, want %d", q.name, status, b, q.want)
		}
	}
	if ids, _ := c.srv.work.ids(); len(ids) != 0 {
		t.Errorf("a refused request made %v", ids)
	}
}

func TestHeaders(t *testing.T) {
	c := serve(t, Options{})
	for _, path := range []string{"/", "/api/jobs", "/nothing"} {
		res, err := http.Get(c.base + path)
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		csp := res.Header.Get("Content-Security-Policy")
		if !strings.HasPrefix(csp, "default-src 'none'") || strings.Contains(csp, "unsafe") {
			t.Errorf("%s: policy %q", path, csp)
		}
		if res.Header.Get("X-Content-Type-Options") != "nosniff" || res.Header.Get("Cross-Origin-Resource-Policy") != "same-origin" || res.Header.Get("Access-Control-Allow-Origin") != "" {
			t.Errorf("%s: headers %v", path, res.Header)
		}
	}
}

func TestToken(t *testing.T) {
	token := suggestToken()
	c := serve(t, Options{Token: token})
	for _, q := range []struct {
		name    string
		headers []string
		want    int
	}{
		{"none", nil, 401},
		{"wrong", []string{"Authorization", "Bearer " + token + "x"}, 401},
		{"right", []string{"Authorization", "Bearer " + token}, 200},
		{"made-up cookie", []string{"Cookie", cookieName + "=99999999999.00"}, 401},
		{"cookie without a time", []string{"Cookie", cookieName + "=x"}, 401},
	} {
		if status, _ := c.do("GET", "/api/jobs", nil, q.headers...); status != q.want {
			t.Errorf("%s: %d, want %d", q.name, status, q.want)
		}
	}
	k := c.srv.users.cookie()
	if status, _ := c.do("GET", "/api/jobs", nil, "Cookie", k.Name+"="+k.Value); status != 200 {
		t.Errorf("a cookie of ours: %d", status)
	}
	if !k.HttpOnly || k.SameSite != http.SameSiteStrictMode {
		t.Errorf("cookie: %+v", k)
	}
	if status, _ := c.do("GET", "/api/health", nil); status != 200 {
		t.Errorf("health needs no token: %d", status)
	}
	last := 0
	for range guessBurst + 1 {
		last, _ = c.do("POST", "/api/session", map[string]string{"token": "guess guess guess guess"})
	}
	if last != http.StatusTooManyRequests {
		t.Errorf("the %dth guess in a row: %d", guessBurst+1, last)
	}
}

func TestUploadLimits(t *testing.T) {
	c := serve(t, Options{MaxUploadBytes: 10_000, MaxFacets: 10})
	for _, q := range []struct {
		name, file string
		body       []byte
		want       int
		words      string
	}{
		{"too large", "a.stl", make([]byte, 10_001), 413, "larger"},
		{"empty", "a.stl", []byte{}, 422, "empty"},
		{"no part", "a.exe", []byte("MZ"), 422, "STL"},
		{"no extension", "a", []byte("x"), 422, "STL"},
		{"rubbish", "a.stl", []byte("hello"), 422, "a.stl"},
		{"climbing name", "../../a.stl", []byte("hello"), 422, "a.stl"},
		{"too many facets", "a.stl", binarySTL(11), 413, "facets"},
	} {
		status, b := c.do("POST", "/api/uploads?name="+q.file, q.body)
		if status != q.want || !strings.Contains(string(b), q.words) {
			t.Errorf("%s: %d %s, want %d and %q", q.name, status, b, q.want, q.words)
		}
		if bytes.Contains(b, []byte(c.srv.staged.dir)) {
			t.Errorf("%s: the answer tells where files lie: %s", q.name, b)
		}
	}
	left, err := filepath.Glob(filepath.Join(c.srv.staged.dir, "*"))
	if err != nil || len(left) != 0 {
		t.Errorf("refused uploads left %v (%v)", left, err)
	}
	if status, _ := c.do("POST", "/api/jobs", newJob{Upload: "deadbeef"}); status != http.StatusGone {
		t.Error("a job of an upload that is not there")
	}
}

// binarySTL is a file of n facets.
func binarySTL(n int) []byte {
	b := make([]byte, 84+50*n)
	b[80] = byte(n)
	return b
}

func TestRateLimit(t *testing.T) {
	c := serve(t, Options{})
	worst := 0
	for range heavyBurst + 20 {
		status, _ := c.do("POST", "/api/jobs/none/tasks", map[string]string{"kind": "judge"})
		worst = max(worst, status)
	}
	if worst != http.StatusTooManyRequests {
		t.Errorf("%d changes in a row: %d", heavyBurst+20, worst)
	}
	if status, _ := c.do("GET", "/api/jobs", nil); status != 200 {
		t.Errorf("reading is not limited so: %d", status)
	}
}

// A link in a job's results must not lead out of the folder of jobs, nor a linked folder pass for a job.
func TestFollowsNoLinkOut(t *testing.T) {
	dir, out := t.TempDir(), t.TempDir()
	secret := filepath.Join(out, "secret.txt")
	write := func(path, text string) {
		t.Helper()
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write(secret, "secret")
	write(filepath.Join(out, "job.toml"), "secret")
	write(filepath.Join(dir, "a", "job.toml"), "format = 1\n")
	write(filepath.Join(dir, "a", "out", "report.txt"), "fine")
	for link, to := range map[string]string{"a/out/secret.txt": secret, "a/out/up": out, "b": out} {
		if err := os.Symlink(to, filepath.Join(dir, link)); err != nil {
			t.Fatal(err)
		}
	}
	c := serve(t, Options{Folder: dir})
	for path, want := range map[string]int{"/api/jobs/a/out/report.txt": 200, "/api/jobs/a/out/secret.txt": 404, "/api/jobs/a/out/up/secret.txt": 404,
		"/api/jobs/b/decisions": 404, "/api/jobs/a/out/": 404, "/api/jobs/a/out/up": 404} {
		if status, b := c.do("GET", path, nil); status != want || bytes.Contains(b, []byte("secret")) && status == 200 {
			t.Errorf("%s: %d %s, want %d", path, status, b, want)
		}
	}
}

// Whatever the path, only what lies under out/ comes back, and nothing panics.
func FuzzPaths(f *testing.F) {
	dir := f.TempDir()
	if err := os.MkdirAll(filepath.Join(dir, "a", "out"), 0o755); err != nil {
		f.Fatal(err)
	}
	for name, text := range map[string]string{"job.toml": "format = 1 # SECRET", "out/report.txt": "fine", "ring.stl": "SECRET", "batch.toml": "format = 1 # SECRET"} {
		if err := os.WriteFile(filepath.Join(dir, "a", name), []byte(text), 0o644); err != nil {
			f.Fatal(err)
		}
	}
	h := httptest.NewUnstartedServer(nil)
	s, err := newServer(Options{Folder: dir}.withDefaults(), h.Listener.Addr())
	if err != nil {
		f.Fatal(err)
	}
	f.Cleanup(func() { h.Listener.Close(); _ = s.close() })
	handler := s.handler()
	for _, p := range []string{"report.txt", "../job.toml", "..%2fjob.toml", "%2e%2e/job.toml", "..\\job.toml", "./../ring.stl", "/etc/passwd", "//etc/passwd",
		"report.txt%00", "report.txt/", "a/../../ring.stl", "....//job.toml", "%252e%252e%252fjob.toml", "\u2025/job.toml", ".", "", "con", "report.txt:stream"} {
		f.Add(p)
	}
	host := h.Listener.Addr().String()
	f.Fuzz(func(t *testing.T, p string) {
		for _, prefix := range []string{"/api/jobs/a/out/", "/api/jobs/", "/api/batches/a/out/", "/api/batches/", "/bench/", "/assets/", "/"} {
			r, err := http.NewRequest("GET", "http://"+host+prefix+p, nil)
			if err != nil {
				return
			}
			r.RemoteAddr = "127.0.0.1:9"
			w := httptest.NewRecorder()
			handler.ServeHTTP(w, r)
			own := strings.Contains(r.URL.Path, "decisions") || r.URL.Path == "/api/batches/a"
			if strings.Contains(w.Body.String(), "SECRET") && !own {
				t.Fatalf("%q gave a file away: %s", prefix+p, w.Body)
			}
			if w.Code >= 500 && w.Code != http.StatusNotImplemented {
				t.Fatalf("%q: %d %s", prefix+p, w.Code, w.Body)
			}
		}
	})
}

// Bodies that fit no schema are refused, not passed on.
func TestRefusesMalformedBodies(t *testing.T) {
	c := serve(t, Options{})
	var j jobView
	c.must("POST", "/api/jobs", newJob{Demo: "foot ring"}, &j)
	for i, q := range []struct{ method, path, body string }{
		{"POST", "/api/jobs", `{`},
		{"POST", "/api/jobs", `{"unit": "parsec"}`},
		{"POST", "/api/jobs", `{"demo": "foot ring", "rm": true}`},
		{"POST", "/api/jobs/foot-ring/tasks", `{"kind": "erase"}`},
		{"POST", "/api/jobs/foot-ring/tasks", `[]`},
		{"POST", "/api/jobs/foot-ring/show/pick", `{"at": [1, 2]}`},
		{"POST", "/api/jobs/foot-ring/show/pick", `{"at": ["a", 2, 3]}`},
		{"POST", "/api/jobs/foot-ring/show/remove", `{"kind": "box", "index": -1}`},
		{"POST", "/api/jobs/foot-ring/show/remove", `{"kind": "box", "index": 3}`},
		{"PUT", "/api/jobs/foot-ring/decisions", `{"tag": "", "text": "format = 2"}`},
		{"PUT", "/api/jobs/foot-ring/decisions", `{"tag": "", "text": "format = 1\n[part]\nfile = \"../../etc/passwd\""}`},
		{"PATCH", "/api/jobs/foot-ring/decisions", `{"set": {"part.file": "/etc/passwd"}}`},
		{"PATCH", "/api/jobs/foot-ring/decisions", `{"set": {"mould.wall_mm": {"a": 1}}}`},
		{"GET", "/api/jobs?x=" + strings.Repeat("y", 40_000), ""},
	} {
		var body any
		if q.body != "" {
			body = []byte(q.body)
		}
		status, b := c.do(q.method, q.path, body)
		if status < 400 || status >= 500 {
			t.Errorf("%d: %s %s: %d %s", i, q.method, q.path, status, b)
		}
	}
}
