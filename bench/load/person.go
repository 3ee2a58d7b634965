package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"time"
)

// person is one client.
type person struct {
	shop *shop
	http *http.Client
	draw *rand.Rand
	n    int
	seen map[string]string // ETags, as a browser keeps them
	runs []*walk
}

// walk is a run of this person's own.
type walk struct {
	ID     string
	Steps  []struct{ Step string }
	Signed []struct{ ID string }
	Done   int
	signed int // as this person counts
}

// answerWithin is how long a person waits.
const answerWithin = 30 * time.Second

func newPerson(i int, s *shop) *person {
	from := &net.Dialer{LocalAddr: &net.TCPAddr{IP: net.IPv4(127, 1, byte(i>>8), byte(i)+1)}}
	if i&255 == 255 { // no broadcast address
		from.LocalAddr = &net.TCPAddr{IP: net.IPv4(127, 2, byte(i>>8), 1)}
	}
	return &person{shop: s, n: i, draw: rand.New(rand.NewPCG(7, uint64(i))), seen: map[string]string{},
		http: &http.Client{Timeout: answerWithin, Transport: &http.Transport{DialContext: from.DialContext, DisableCompression: true}}}
}

// wish is a kind of request and how often it comes.
type wish struct {
	what   string
	weight int
	fixed  bool // the same bytes each time
	path   func(*person) string
}

var wishes = []wish{
	{"page", 6, true, func(*person) string { return "/" }},
	{"page's files", 6, true, func(p *person) string { return p.shop.assets[p.draw.IntN(len(p.shop.assets))] }},
	{"bench page", 3, true, func(p *person) string { return "/bench/" + p.shop.ring }},
	{"jobs", 8, false, func(*person) string { return "/api/jobs" }},
	{"job", 10, false, func(p *person) string { return at(p.shop.ring, "") }},
	{"task", 4, false, func(p *person) string { return "/api/tasks/" + p.shop.task }},
	{"decisions", 2, true, func(p *person) string { return at(p.shop.ring, "/decisions") }},
	{"report", 4, true, func(p *person) string { return at(p.shop.ring, "/report") }},
	{"judgement", 2, true, func(p *person) string { return at(p.shop.ring, "/judgement") }},
	{"part.bin", 3, true, func(p *person) string { return at(p.shop.ring, "/part.bin") }},
	{"part.bin, 1M", 1, true, func(p *person) string { return at(p.shop.big, "/part.bin") }},
	{"show.bin", 2, true, func(p *person) string { return at(p.shop.ring, "/show.bin") }},
	{"judgement.bin", 2, true, func(p *person) string { return at(p.shop.ring, "/judgement.bin") }},
	{"mould.bin", 3, true, func(p *person) string { return at(p.shop.ring, "/mould.bin") }},
	{"fill.bin", 3, true, func(p *person) string { return at(p.shop.ring, "/fill.bin") }},
	{"result file", 3, true, func(p *person) string {
		return at(p.shop.ring, "/out/"+p.shop.files[p.draw.IntN(len(p.shop.files))])
	}},
	{"plan", 3, true, func(p *person) string { return at(p.shop.ring, "/plan?shots=4&temp_c=21") }},
	{"sheet.pdf", 1, true, func(p *person) string { return at(p.shop.ring, "/sheet.pdf?shots=4") }},
	{"runs", 4, false, func(p *person) string { return at(p.shop.ring, "/runs?most=20") }},
	{"run", 5, true, func(p *person) string { return "/api/runs/" + p.shop.run }},
	{"moulds", 4, true, func(*person) string { return "/api/records/moulds" }},
	{"castings", 4, true, func(p *person) string { return "/api/records/shots?mould=" + p.shop.mould }},
	{"causes", 1, true, func(p *person) string {
		return "/api/records/shots/" + p.shop.shot + "/causes?defect=void&job=" + p.shop.ring
	}},
	{"export", 1, true, func(*person) string { return "/api/records/export/shots.csv" }},
	{"batches", 3, true, func(*person) string { return "/api/batches" }},
	{"batch", 3, true, func(p *person) string { return "/api/batches/" + p.shop.batch }},
	{"batch board", 2, true, func(p *person) string { return "/api/batches/" + p.shop.batch + "/out/board.svg" }},
	{"families", 1, true, func(*person) string { return "/api/families" }},
	{"sign", 4, false, nil},
}

// next sends one request, drawn by weight.
func (p *person) next(ctx context.Context, t *tally) {
	sum := 0
	for _, w := range wishes {
		sum += w.weight
	}
	at := p.draw.IntN(sum)
	for _, w := range wishes {
		if at -= w.weight; at >= 0 {
			continue
		}
		if w.path == nil {
			p.sign(ctx, t)
		} else {
			p.get(ctx, t, w)
		}
		return
	}
}

func (p *person) get(ctx context.Context, t *tally, w wish) {
	path := w.path(p)
	r, err := http.NewRequestWithContext(ctx, "GET", p.shop.url+path, nil)
	if err != nil {
		t.fault(path, err)
		return
	}
	if tag := p.seen[path]; tag != "" && p.draw.IntN(2) == 0 { // half of the people come back
		r.Header.Set("If-None-Match", tag)
	}
	began := time.Now()
	res, body, err := p.send(r)
	took := time.Since(began)
	switch {
	case err != nil:
		t.fault(path, err)
		return
	case res.StatusCode == http.StatusNotModified:
	case res.StatusCode != http.StatusOK || len(body) == 0:
		t.fault(path, fmt.Errorf("%d %.200s", res.StatusCode, body))
		return
	case w.fixed && !t.same(path, sha256.Sum256(body)):
		t.fault(path, fmt.Errorf("%d bytes, other than the first time", len(body)))
		return
	}
	p.seen[path] = res.Header.Get("ETag")
	t.answer(w.what, took, len(body))
}

func (p *person) send(r *http.Request) (*http.Response, []byte, error) {
	res, err := p.http.Do(r)
	if err != nil {
		return nil, nil, err
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	return res, b, err
}

// sign signs the next step of a run of this person's own, or begins another run.
func (p *person) sign(ctx context.Context, t *tally) {
	name := fmt.Sprint("person ", p.n)
	if len(p.runs) == 0 || p.runs[len(p.runs)-1].signed == len(p.runs[len(p.runs)-1].Steps) {
		w := &walk{}
		if p.post(ctx, t, "run begun", at(p.shop.ring, "/runs"), map[string]any{"operator": name, "key": fmt.Sprintf("%d-%d", p.n, len(p.runs))}, w) {
			p.runs = append(p.runs, w)
		}
		return
	}
	w := p.runs[len(p.runs)-1]
	var now walk
	body := map[string]any{"operator": name, "step": w.Steps[w.signed].Step, "key": fmt.Sprint(w.signed)}
	if !p.post(ctx, t, "sign", "/api/runs/"+w.ID+"/signs", body, &now) {
		return
	}
	if w.signed++; now.Done != w.signed {
		t.fault("sign", fmt.Errorf("%d steps of %s are signed, not %d", now.Done, w.ID, w.signed))
	}
}

func (p *person) post(ctx context.Context, t *tally, what, path string, body, out any) bool {
	b, err := json.Marshal(body)
	if err != nil {
		t.fault(what, err)
		return false
	}
	r, err := http.NewRequestWithContext(ctx, "POST", p.shop.url+path, bytes.NewReader(b))
	if err != nil {
		t.fault(what, err)
		return false
	}
	r.Header.Set("Content-Type", "application/json")
	began := time.Now()
	res, got, err := p.send(r)
	took := time.Since(began)
	if err == nil && res.StatusCode != http.StatusOK && res.StatusCode != http.StatusCreated {
		err = fmt.Errorf("%d %.200s", res.StatusCode, got)
	}
	if err == nil {
		err = json.Unmarshal(got, out)
	}
	if err != nil {
		t.fault(path, err)
		return false
	}
	t.answer(what, took, len(got))
	return true
}

// checkRuns looks whether all that was signed is there, once.
func (p *person) checkRuns(ctx context.Context, t *tally) {
	for _, w := range p.runs {
		var now walk
		if err := call(ctx, "GET", p.shop.url+"/api/runs/"+w.ID, nil, &now); err != nil {
			t.fault("look at "+w.ID, err)
		} else if len(now.Signed) != w.signed || now.Done != w.signed {
			t.fault("look at "+w.ID, fmt.Errorf("%d signatures are there, %d were given", len(now.Signed), w.signed))
		}
	}
}
