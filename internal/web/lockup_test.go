package web

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"mouldwright/internal/job"
	"mouldwright/internal/membudget"
)

// Whatever strangers do, those who are signed in, the server's health and the way in have slots left; and one
// stranger leaves some to the others.
func TestStrangersDoNotTakeEverySlot(t *testing.T) {
	s := newSlots()
	taken := 0
	for i := range 3 * slotsAtOnce[stranger] {
		if _, ok := s.enter(stranger, fmt.Sprint("address ", i/100)); ok {
			taken++
		}
	}
	if taken != slotsAtOnce[stranger] {
		t.Errorf("strangers took %d slots of %d", taken, slotsAtOnce[stranger])
	}
	for _, as := range []standing{inside, atTheDoor} {
		leave, ok := s.enter(as, "address 0")
		if !ok {
			t.Fatalf("no slot of kind %d", as)
		}
		leave()
	}
	s, taken = newSlots(), 0
	for range slotsAtOnce[stranger] {
		if _, ok := s.enter(stranger, "one"); ok {
			taken++
		}
	}
	if _, ok := s.enter(stranger, "another"); !ok || taken != slotsEach[stranger] {
		t.Errorf("one address took %d slots, another got in: %v", taken, ok)
	}
}

// A client that does not read is cut off by the deadline that every address has, and its slot is free again.
func TestSlowReadersAreCutOff(t *testing.T) {
	h := newHTTPServer(nil, context.Background())
	if h.ReadHeaderTimeout <= 0 || h.ReadTimeout <= 0 || h.WriteTimeout <= 0 || h.IdleTimeout <= 0 || h.WriteTimeout > answerTimeout {
		t.Errorf("deadlines: header %v, read %v, write %v, idle %v", h.ReadHeaderTimeout, h.ReadTimeout, h.WriteTimeout, h.IdleTimeout)
	}
	// The token is asked for before a slot is taken.
	c := serve(t, Options{Token: suggestToken()})
	for i := range slotsAtOnce[inside] {
		if _, ok := c.srv.guard.slots.enter(inside, fmt.Sprint(i)); !ok {
			t.Fatal("no slot")
		}
	}
	if status, _ := c.do("GET", "/api/jobs", nil); status != http.StatusUnauthorized {
		t.Errorf("a stranger at a full server: %d", status)
	}
	if status, _ := c.do("GET", "/api/health", nil); status != http.StatusOK {
		t.Errorf("health of a full server: %d", status)
	}
}

// Wrong tokens are limited on every way in, for one address and for all; a cookie and an address known for
// the right token go on.
func TestGuessesAreLimited(t *testing.T) {
	token := suggestToken()
	right := []string{"Authorization", "Bearer " + token}
	for name, guess := range map[string]func(c *client) int{
		"header": func(c *client) int {
			status, _ := c.do("GET", "/api/jobs", nil, "Authorization", "Bearer guess")
			return status
		},
		"session": func(c *client) int {
			status, _ := c.do("POST", "/api/session", map[string]string{"token": "guess guess guess guess"})
			return status
		},
	} {
		c := serve(t, Options{Token: token})
		for range 3 * guessBurst { // right ones cost nothing
			if status, b := c.do("GET", "/api/jobs", nil, right...); status != 200 {
				t.Fatalf("%s: the right token: %d %s", name, status, b)
			}
		}
		looked := 0
		for range 10 * guessBurst {
			if guess(c) == http.StatusUnauthorized {
				looked++
			}
		}
		if looked > guessBurst+3 { // three more in fifteen seconds
			t.Errorf("%s: %d guesses were looked at", name, looked)
		}
		if status, _ := c.do("GET", "/api/jobs", nil, right...); status != http.StatusTooManyRequests {
			t.Errorf("%s: the right token among the guesses shows: %d", name, status)
		}
		k := c.srv.users.cookie()
		if status, _ := c.do("GET", "/api/jobs", nil, "Cookie", k.Name+"="+k.Value); status != 200 {
			t.Errorf("%s: somebody signed in: %d", name, status)
		}
	}
	g := newGuesses()
	from := func(i int) *http.Request { return &http.Request{RemoteAddr: fmt.Sprintf("192.0.2.%d:1", i)} }
	known := from(250)
	if g.try(known, func() bool { return true }) != rightToken {
		t.Error("a right token was not taken")
	}
	looked := 0
	for i := range 240 { // one guess each
		if g.try(from(i), func() bool { return false }) == wrongToken {
			looked++
		}
	}
	if looked > allGuessBurst+5 {
		t.Errorf("%d guesses of many addresses were looked at", looked)
	}
	if g.try(known, func() bool { return true }) != rightToken {
		t.Error("an address known for its token is held back by others")
	}
	// One IPv6 host has 2⁶⁴ addresses and is one client.
	if a, b := clientOf(&http.Request{RemoteAddr: "[2001:db8::1]:1"}), clientOf(&http.Request{RemoteAddr: "[2001:db8::ffff:2]:9"}); a != b {
		t.Errorf("clients %q and %q", a, b)
	}
}

func TestWeakTokensAreRefused(t *testing.T) {
	for _, token := range []string{"short", strings.Repeat("a", 20), strings.Repeat("ab", 10), strings.Repeat("secret", 4), "abcdefghijklmnopqrstuvwxyz",
		"12345678901234567890", "98765432109876543210", strings.Repeat("a", 30) + "1"} {
		if err := checkToken(token); err == nil || !strings.Contains(err.Error(), "such as ") {
			t.Errorf("%q: %v", token, err)
		}
	}
	for range 200 {
		if err := checkToken(suggestToken()); err != nil {
			t.Error(err)
		}
	}
	path := filepath.Join(t.TempDir(), "token")
	token, made, err := TokenFrom(path)
	if err != nil || !made || checkToken(token) != nil {
		t.Fatalf("%q %v %v", token, made, err)
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v %v", info, err)
	}
	if again, made, err := TokenFrom(path); err != nil || made || again != token {
		t.Errorf("%q %v %v", again, made, err)
	}
}

// Twenty clients send a part each and then make their jobs: all are made.
func TestUploadsAtOnceAreAllMade(t *testing.T) {
	c := serve(t, Options{})
	const clients = 20
	var uploaded, over sync.WaitGroup
	uploaded.Add(clients)
	for i := range clients {
		over.Go(func() {
			var v uploadView
			b := sendRetrying(c, "/api/uploads?name=part.stl", asciiTetra(float64(10+i)))
			if err := json.Unmarshal(b, &v); err != nil {
				t.Errorf("client %d: %s: %v", i, b, err)
			}
			uploaded.Done()
			uploaded.Wait() // everybody has sent, nobody has made a job
			b = sendRetrying(c, "/api/jobs", fmt.Appendf(nil, `{"upload": %q, "name": "part %d"}`, v.Upload, i))
			if !bytes.Contains(b, []byte(`"id"`)) {
				t.Errorf("client %d: %s", i, b)
			}
		})
	}
	over.Wait()
	if ids, err := c.srv.work.ids(); err != nil || len(ids) != clients {
		t.Errorf("%d jobs of %d: %v", len(ids), clients, err)
	}
	if c.srv.staged.bytes != 0 || len(c.srv.staged.parts) != 0 {
		t.Errorf("left behind: %d parts, %d bytes", len(c.srv.staged.parts), c.srv.staged.bytes)
	}
}

// sendRetrying posts until the server has time.
func sendRetrying(c *client, path string, body []byte) []byte {
	for {
		res, err := http.Post(c.base+path, "application/json", bytes.NewReader(body))
		if err != nil {
			return []byte(err.Error())
		}
		b, err := io.ReadAll(res.Body)
		if err = errors.Join(err, res.Body.Close()); err != nil {
			return []byte(err.Error())
		}
		if res.StatusCode != http.StatusTooManyRequests {
			return b
		}
		time.Sleep(100 * time.Millisecond)
	}
}

// asciiTetra is a tetrahedron as an STL file.
func asciiTetra(side float64) []byte {
	v := [4]string{"0 0 0", fmt.Sprintf("%g 0 0", side), fmt.Sprintf("0 %g 0", side), fmt.Sprintf("0 0 %g", side)}
	var b bytes.Buffer
	b.WriteString("solid part\n")
	for _, f := range [4][3]int{{0, 2, 1}, {0, 1, 3}, {0, 3, 2}, {1, 2, 3}} {
		fmt.Fprintf(&b, "facet normal 0 0 0\nouter loop\nvertex %s\nvertex %s\nvertex %s\nendloop\nendfacet\n", v[f[0]], v[f[1]], v[f[2]])
	}
	b.WriteString("endsolid part\n")
	return b.Bytes()
}

// Parts are read within the turnstile's bytes however many come at once, and one of vertices alone is refused
// once it has more than any mesh of the server's could use.
func TestReadingPassesTheTurnstile(t *testing.T) {
	const facets = 50_000
	c := serve(t, Options{MaxFacets: facets})
	c.srv.staged.memory = membudget.NewShares(1)
	held, err := c.srv.staged.memory.Take(t.Context(), 1)
	if err != nil {
		t.Fatal(err)
	}
	answers := make(chan string, 8)
	bomb := vertexBomb(t, 4*facets)
	for range cap(answers) {
		go func() {
			_, b := c.do("POST", "/api/uploads?name=part.3mf", bomb)
			answers <- string(b)
		}()
	}
	select {
	case b := <-answers:
		t.Fatalf("read while there was no room: %s", b)
	case <-time.After(300 * time.Millisecond):
	}
	held()
	for range cap(answers) {
		if b := <-answers; !strings.Contains(b, fmt.Sprint("more than ", facets, " vertices")) {
			t.Errorf("answer %s", b)
		}
	}
	if _, err := os.Stat(c.srv.staged.dir); err != nil || len(c.srv.staged.parts) != 0 {
		t.Errorf("left behind: %v %v", c.srv.staged.parts, err)
	}
}

// vertexBomb is a 3MF of n vertices and no facet, which packs to almost nothing.
func vertexBomb(t testing.TB, n int) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, f := range [][2]string{
		{"_rels/.rels", `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Target="/3D/m.model" Id="r" ` +
			`Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>`},
		{"3D/m.model", `<model xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"><resources><object id="1"><mesh><vertices>` +
			vertices(n) + `</vertices></mesh></object></resources><build><item objectid="1"/></build></model>`},
	} {
		w, err := z.Create(f[0])
		if err == nil {
			_, err = io.WriteString(w, f[1])
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// vertices are spread so that they pack to about a hundredth: a file that packs better is refused by its ratio.
func vertices(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, `<vertex x="%d" y="%d" z="0"/>`, i/7, i*i%97)
	}
	return b.String()
}

// One look over a part is shared by all who ask, and ends when nobody has wanted it for a while.
func TestLookIsSharedAndEnds(t *testing.T) {
	s := newScenes(membudget.NewShares(1))
	defer s.close()
	held, err := s.memory.Take(t.Context(), 1) // so that the look waits
	if err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	if err := os.WriteFile(filepath.Join(folder, "part.stl"), asciiTetra(20), 0o600); err != nil {
		t.Fatal(err)
	}
	f := decisionsFor(t, "part.stl")
	ctx, cancel := context.WithCancel(t.Context())
	var asking sync.WaitGroup
	for range 30 {
		asking.Go(func() {
			if _, err := s.inspected(ctx, "a", folder, f); !errors.Is(err, context.Canceled) {
				t.Errorf("error %v", err)
			}
		})
	}
	wants := func() (n int, sc *scene) {
		s.mu.Lock()
		defer s.mu.Unlock()
		return s.wants, s.byID["a"]
	}
	var sc *scene
	for n := 0; n < 30; n, sc = wants() {
		time.Sleep(time.Millisecond)
	}
	if s.wants != 30 || len(s.byID) != 1 {
		t.Errorf("%d wait for %d looks", s.wants, len(s.byID))
	}
	cancel() // every client goes
	asking.Wait()
	select {
	case <-sc.ready:
	case <-time.After(10 * forsakenAfter):
		t.Fatal("the look goes on although nobody wants it")
	}
	if !errors.Is(sc.failed, context.Canceled) {
		t.Errorf("error %v", sc.failed)
	}
	held()
	if again, err := s.inspected(t.Context(), "a", folder, f); err != nil || again == sc || len(again.part.mesh.Tris) != 4 {
		t.Errorf("asked again: %v", err)
	}
}

// However a client reaches for results, a folder or a file that is a link is not followed; nor may a change
// name a file outside the job.
func TestNoRouteFollowsALinkedResultsFolder(t *testing.T) {
	dir, out := t.TempDir(), t.TempDir()
	if err := os.WriteFile(filepath.Join(out, "report.json"), []byte(`{"format": 1, "secret": "secret"}`), 0o600); err != nil {
		t.Fatal(err)
	}
	c := serve(t, Options{Folder: dir})
	if status, b := c.do("POST", "/api/jobs", map[string]string{"demo": demoParts[0].Name}); status != http.StatusCreated {
		t.Fatalf("%d %s", status, b)
	}
	ids, err := c.srv.work.ids()
	if err != nil {
		t.Fatal(err)
	}
	id := ids[0]
	for _, font := range []string{"../../../etc/font.ttf", "/etc/font.ttf"} {
		status, b := c.do("PATCH", "/api/jobs/"+id+"/decisions", map[string]any{"set": map[string]any{"mould.label_font": font}})
		if status != http.StatusUnprocessableEntity || !bytes.Contains(b, []byte("inside the job folder")) {
			t.Errorf("font %s: %d %s", font, status, b)
		}
	}
	link := filepath.Join(dir, id, "out")
	check := func(what string) {
		for _, path := range []string{"", "/report", "/mould.bin", "/fill.bin", "/comparison", "/out/report.json", "/sheet.pdf", "/steps"} {
			if status, b := c.do("GET", "/api/jobs/"+id+path, nil); bytes.Contains(b, []byte("secret")) {
				t.Errorf("%s, %s: %d %s", what, path, status, b)
			}
		}
	}
	if err := os.Symlink(out, link); err != nil {
		t.Fatal(err)
	}
	check("linked folder")
	if err := errors.Join(os.Remove(link), os.Mkdir(link, 0o755), os.Symlink(filepath.Join(out, "report.json"), filepath.Join(link, "report.json"))); err != nil {
		t.Fatal(err)
	}
	check("linked file")
}

func decisionsFor(t testing.TB, part string) *job.File {
	t.Helper()
	f, err := job.Parse(job.FileName, fmt.Appendf(nil, "format = 1\n[part]\nfile = %q\n", part))
	if err != nil {
		t.Fatal(err)
	}
	return f
}
