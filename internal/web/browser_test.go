package web

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"mouldwright/demo/lantern"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// page drives Debian's Chromium against a server under test.
type page struct {
	t      testing.TB
	ctx    context.Context
	base   string
	clicks int
	mu     sync.Mutex
	faults []string
}

// openPage needs chromium and a built interface. Where CI is set their absence is a failure, so that
// these tests cannot fall silent.
func openPage(t testing.TB, c *client) *page {
	t.Helper()
	missing := func(what string) {
		if os.Getenv("CI") != "" {
			t.Fatal(what)
		}
		t.Skip(what)
	}
	chromium, err := exec.LookPath("chromium")
	if err != nil {
		missing("no chromium here: apt-get install chromium")
	}
	if !UIBuilt() {
		missing("the interface is not built: make build")
	}
	opts := append([]chromedp.ExecAllocatorOption{}, chromedp.DefaultExecAllocatorOptions[:]...)
	for flag, value := range map[string]any{"no-sandbox": true, "use-angle": "swiftshader", "enable-unsafe-swiftshader": true, "disable-quic": true,
		"disable-component-update": true, "hide-scrollbars": true} {
		opts = append(opts, chromedp.Flag(flag, value))
	}
	opts = append(opts, chromedp.ExecPath(chromium), chromedp.UserDataDir(t.TempDir()))
	alloc, stopAlloc := chromedp.NewExecAllocator(context.Background(), opts...)
	ctx, stop := chromedp.NewContext(alloc)
	p := &page{t: t, base: c.base}
	messages := chromedp.Console(ctx)
	limited, stopTime := context.WithTimeout(ctx, 5*time.Minute)
	p.ctx = limited
	heard := make(chan struct{})
	go func() {
		defer close(heard)
		for m, err := range messages {
			if err != nil {
				return
			}
			if (m.Type == "error" || m.IsException()) && !strings.Contains(m.Text, "404") { // "not judged yet" is a 404
				p.mu.Lock()
				p.faults = append(p.faults, m.String())
				p.mu.Unlock()
			}
		}
	}()
	t.Cleanup(func() {
		stopTime()
		stop()
		stopAlloc()
		<-heard
	})
	p.size(1440, 900)
	return p
}

// complaints is what the browser wrote to its console as errors.
func (p *page) complaints() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return strings.Join(p.faults, "\n")
}

func (p *page) size(w, h int64) {
	p.t.Helper()
	p.do(func() error {
		_, err := chromedp.Call(p.ctx, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: w, Height: h, DeviceScaleFactor: 1, Mobile: w < 500})
		return err
	})
}

// media sets the colour scheme; motion is always reduced, so that pictures do not depend on the moment.
func (p *page) media(scheme string) {
	p.t.Helper()
	p.do(func() error {
		_, err := chromedp.Call(p.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{
			{Name: "prefers-color-scheme", Value: scheme}, {Name: "prefers-reduced-motion", Value: "reduce"}}})
		return err
	})
}

func (p *page) run(actions ...chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	p.do(func() error { return chromedp.Do(p.ctx, actions...) })
}

func (p *page) do(step func() error) {
	p.t.Helper()
	if err := step(); err != nil {
		shot := p.shoot("failure")
		text, _ := chromedp.Run(p.ctx, chromedp.Evaluate[string](`document.body.innerText`)) // the first error counts
		p.t.Fatalf("%v; browser: %s; picture: %s; the page says:\n%s", err, p.complaints(), shot, text)
	}
}

// click clicks what a person would, and counts it.
func (p *page) click(selector string) {
	p.t.Helper()
	p.clicks++
	p.run(chromedp.Click(chromedp.CSS(selector), chromedp.NodeVisible))
}

func (p *page) waitFor(selector string) {
	p.t.Helper()
	p.run(chromedp.WaitVisible(chromedp.CSS(selector)))
}

func (p *page) text(selector string) (s string) {
	p.t.Helper()
	p.do(func() (err error) {
		s, err = chromedp.Run(p.ctx, chromedp.Text(chromedp.CSS(selector)))
		return err
	})
	return s
}

// eval runs a script, waits for its promise, and gives its value.
func eval[T any](p *page, js string) (v T) {
	p.t.Helper()
	p.do(func() (err error) {
		v, err = chromedp.Run(p.ctx, chromedp.Evaluate[T](js, chromedp.EvalAwaitPromise))
		return err
	})
	return v
}

// shoot keeps a picture where MOULDWRIGHT_SHOTS says, for a person to look at.
func (p *page) shoot(name string) string {
	dir := os.Getenv("MOULDWRIGHT_SHOTS")
	if dir == "" {
		return "set MOULDWRIGHT_SHOTS to a folder"
	}
	path := filepath.Join(dir, name+".png")
	png, err := chromedp.Run(p.ctx, chromedp.CaptureScreenshot())
	if err != nil {
		return err.Error()
	}
	if err := os.WriteFile(path, png, 0o644); err != nil {
		return err.Error()
	}
	return path
}

// looks takes pictures at the three widths, light and dark, and checks that nothing sticks out sideways.
func (p *page) looks(name string) {
	p.t.Helper()
	for _, w := range []int64{1440, 1024, 390} {
		height := int64(900)
		if w == 390 {
			height = 844
		}
		schemes := []string{"light", "dark"}
		if os.Getenv("MOULDWRIGHT_SHOTS") == "" { // axe-core sees each scheme once, which is enough
			schemes = map[int64][]string{1440: {"light"}, 1024: {"light"}, 390: {"dark"}}[w]
		}
		for _, scheme := range schemes {
			p.size(w, height)
			p.media(scheme)
			over := eval[float64](p, `new Promise(r => requestAnimationFrame(() => requestAnimationFrame(() => r(document.documentElement.scrollWidth - innerWidth))))`)
			if over > 0 {
				p.t.Errorf("%s at %d px: the page is %g px too wide", name, w, over)
			}
			p.shoot(fmt.Sprintf("%s-%d-%s", name, w, scheme))
			if w != 1024 {
				p.accessible(fmt.Sprintf("%s at %d px, %s", name, w, scheme))
			}
		}
	}
	p.size(1440, 900)
	p.media("light")
}

// accessible lets axe-core judge the page as it stands: nothing serious may be left.
func (p *page) accessible(where string) {
	p.t.Helper()
	axe, err := os.ReadFile(filepath.Join("ui", "node_modules", "axe-core", "axe.min.js"))
	if err != nil {
		p.t.Fatalf("axe-core is not installed: %v; make testdeps", err)
	}
	eval[int](p, `if (!window.axe) {`+string(axe)+`}; 0`)
	found := eval[string](p, `axe.run(document, {resultTypes: ['violations']}).then(r => JSON.stringify(r.violations.map(v => ({id: v.id, impact: v.impact, help: v.help, nodes: v.nodes.slice(0, 4).map(n => n.html.slice(0, 160) + ' ' + (n.any[0]?.message ?? ''))}))))`)
	var list []struct {
		ID, Impact, Help string
		Nodes            []string
	}
	if err := json.Unmarshal([]byte(found), &list); err != nil {
		p.t.Fatal(err)
	}
	for _, v := range list {
		if v.Impact == "serious" || v.Impact == "critical" {
			p.t.Errorf("%s: %s (%s): %s\n  %s", where, v.ID, v.Impact, v.Help, strings.Join(v.Nodes, "\n  "))
		}
	}
}

// drawn counts the frames that the view has drawn; 0 when it has no size either.
func (p *page) drawn() int {
	p.t.Helper()
	return eval[int](p, `new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => {
		const c = document.querySelector('.canvas-box canvas'), box = c.getBoundingClientRect()
		done(c.width > 0 && box.height > 100 && Number(c.dataset.frames) > 0 ? Number(c.dataset.frames) : 0)
	})))`)
}

func TestBrowserFromDropToProvenMould(t *testing.T) {
	c := serve(t, Options{})
	p := openPage(t, c)
	file := filepath.Join(t.TempDir(), "foot-ring.3mf")
	if err := os.WriteFile(file, partFile(t, lantern.FootRing()), 0o644); err != nil {
		t.Fatal(err)
	}
	p.run(chromedp.Navigate(c.base + "/"))
	p.waitFor(".drop")
	p.looks("shelf")
	p.clicks++ // the drop
	p.run(chromedp.SetUploadFiles(chromedp.CSS("#file"), []string{file}))
	p.waitFor("form.card")
	p.looks("intake")
	p.click("form.card button.primary")
	p.waitFor("#judge .verdict")
	if got := p.text("#judge .verdict"); !strings.Contains(got, "It opens") || !strings.Contains(got, "2.00° of draft") {
		t.Errorf("verdict: %s", got)
	}
	p.looks("judged")
	p.click(`[data-key="build"]`)
	p.waitFor("#mould .pieces")
	if got := p.text("#mould .verdict"); !strings.Contains(got, "Proven to open") {
		t.Errorf("proof: %s", got)
	}
	if got := p.text("#pour .weigh"); !strings.Contains(got, "isocyanate") || !strings.Contains(got, " g") {
		t.Errorf("amounts: %s", got)
	}
	if p.clicks >= 10 {
		t.Errorf("it took %d clicks", p.clicks)
	}
	if p.drawn() == 0 {
		t.Error("the view draws nothing")
	}
	p.looks("mould")
	p.click(`[data-key="go-pour"]`)
	p.looks("pour")
	eval[any](p, `document.querySelector('#mould .drawings').scrollIntoView({block: 'center'}), null`)
	p.looks("drawings")
	for _, link := range []string{"3MF", "STL"} {
		status := eval[int](p, `fetch([...document.querySelectorAll('.get')].find(a => a.textContent === '`+link+`').href).then(r => r.status)`)
		if status != 200 {
			t.Errorf("download of %s: %d", link, status)
		}
	}
	p.fills()
	p.closes()
	p.toSheet()
	p.atTheBench("foot-ring")
	if f := p.complaints(); f != "" {
		t.Errorf("the browser complained: %s", f)
	}
	p.office() // where an unsound text makes the browser complain
}

func TestBrowserRefusalShowsThePlace(t *testing.T) {
	c := serve(t, Options{})
	p := openPage(t, c)
	p.run(chromedp.Navigate(c.base + "/"))
	p.waitFor(".demo li:nth-child(2) button")
	p.click(".demo li:nth-child(2) button")
	p.waitFor("#judge .verdict")
	if got := p.text("#judge .verdict"); !strings.Contains(got, "It locks") {
		t.Errorf("verdict: %s", got)
	}
	p.looks("locks")
	p.click(`[data-key="place-0"]`)
	p.looks("place")
	p.click(`[data-key="build"]`)
	p.waitFor("#mould .verdict.bad")
	if got := p.text("#mould .verdict"); !strings.Contains(got, "Refused") || !strings.Contains(got, "What helps") {
		t.Errorf("refusal: %s", got)
	}
	p.looks("refused")
	// The page compares the ways to mould it, and offers the one that is proven to open.
	p.click(`[data-key="compare"]`)
	p.waitFor(".ways")
	if got := p.text(".ways > li"); !strings.Contains(got, "cradle") || !strings.Contains(got, "proven") || !strings.Contains(got, "±") {
		t.Errorf("the best way: %s", got)
	}
	p.looks("ways")
	p.click(`[data-key="way-cradle-insert"]`)
	p.run(chromedp.WaitNotPresent(chromedp.CSS(`[data-key="way-cradle-insert"]`)))
	p.waitFor(`[data-key="build"]:enabled`)
	p.click(`[data-key="build"]`)
	p.waitFor("#mould .pieces")
	if got := p.text("#mould .verdict"); !strings.Contains(got, "Proven to open") || !strings.Contains(got, "insert") {
		t.Errorf("proof: %s", got)
	}
	if got := p.text("#pour"); !strings.Contains(got, "silicone insert") || !strings.Contains(got, "For each casting") {
		t.Errorf("amounts: %s", got)
	}
	p.looks("insert")
	p.click(`[data-key="go-pour"]`)
	p.looks("insert-pour")
	if f := p.complaints(); f != "" {
		t.Errorf("the browser complained: %s", f)
	}
}

// A part without a unit: the page asks, a click in the view marks a face, the cut shows, and an
// unsound job.toml is refused with its line.
func TestBrowserPickCutAndEdit(t *testing.T) {
	c := serve(t, Options{})
	p := openPage(t, c)
	file := filepath.Join(t.TempDir(), "cap.stl")
	if err := meshfile.Save(file, &mesh.Model{Unit: mesh.Millimetre, UnitKnown: true, Objects: []mesh.Object{{Name: "cap", Mesh: lantern.BumperCap().Mesh}}}); err != nil {
		t.Fatal(err)
	}
	p.run(chromedp.Navigate(c.base + "/"))
	p.waitFor(".drop")
	p.run(chromedp.SetUploadFiles(chromedp.CSS("#file"), []string{file}))
	p.waitFor("form.card")
	if got := p.text("form.card"); !strings.Contains(got, "does not say its unit") || !strings.Contains(got, "59.4 × 59.4 × 14 mm") {
		t.Errorf("intake: %s", got)
	}
	p.looks("unit")
	p.click("form.card button.primary")
	p.waitFor("#judge .verdict")
	p.click(`[data-key="pick"]`)
	p.run(chromedp.Focus(chromedp.CSS(".canvas-box canvas")), chromedp.KeyEvent(kb.ArrowRight+kb.ArrowRight+kb.ArrowDown)) // two arrows right, one down
	// The middle of the view shows the floor of the cup.
	box := eval[[]float64](p, `(r => [r.left + r.width / 2, r.top + r.height / 2])(document.querySelector('.canvas-box canvas').getBoundingClientRect())`)
	p.run(chromedp.MouseClickXY(box[0], box[1]))
	p.waitFor(`[data-key="pick-0"]`)
	if got := p.text("#part"); !strings.Contains(got, "mm² are marked") {
		t.Errorf("after the pick: %s", got)
	}
	p.click(`[data-key="cut"]`)
	p.waitFor("#cut-at")
	p.looks("picked")
	p.click(`[data-key="pick"]`)

	p.click(`#decisions summary`)
	eval[any](p, `new Promise(r => { const t = setInterval(() => { if (document.getElementById('toml').value) { clearInterval(t); r(null) } }, 20) })`)
	eval[any](p, `(() => { const a = document.getElementById('toml'); a.value = a.value.replace('wall_mm', 'wal_mm'); a.dispatchEvent(new Event('input')); return null })()`)
	p.click(`[data-key="save"]`)
	p.waitFor("#decisions .error:not(:empty)")
	if got := p.text("#decisions .error"); !strings.Contains(got, "line ") || !strings.Contains(got, "mould.wal_mm") {
		t.Errorf("an unsound job.toml: %s", got)
	}
	if chosen := eval[string](p, `(a => a.value.slice(a.selectionStart, a.selectionEnd))(document.getElementById('toml'))`); !strings.HasPrefix(chosen, "wal_mm") {
		t.Errorf("the line at fault is not chosen, but %q", chosen)
	}
	p.looks("decisions")
}
