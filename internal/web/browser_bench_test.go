package web

import (
	"bytes"
	"fmt"
	"image"
	"image/png"
	"strings"

	"github.com/chromedp/chromedp"
)

// fills lets the mould fill in the view: the level follows the slider.
func (p *page) fills() {
	p.t.Helper()
	p.clicks-- // beside the path that is counted
	p.click(`[data-key="subject-fill"] + span`)
	p.waitFor("#poured")
	p.looks("filled")
	colours := func(share int) int {
		eval[any](p, fmt.Sprintf(`(() => { const e = document.querySelector('#poured'); e.value = %d; e.dispatchEvent(new Event('input', {bubbles: true})); return null })()`, 2*share))
		p.drawn()
		shot := p.canvas()
		n := 0
		for y := shot.Bounds().Min.Y; y < shot.Bounds().Max.Y; y++ {
			for x := shot.Bounds().Min.X; x < shot.Bounds().Max.X; x++ {
				if r, _, b, _ := shot.At(x, y).RGBA(); r > b+60<<8 { // resin is much more red than blue
					n++
				}
			}
		}
		return n
	}
	full, half, none := colours(100), colours(50), colours(0)
	if !(full > half+100 && half > none+100) {
		p.t.Errorf("resin covers %d pixels at the end, %d half-way, %d at the start", full, half, none)
	}
	colours(50)
	p.shoot("half-filled")
	colours(0)
	if got := p.says("output"); !strings.HasPrefix(got, "0 of ") || !strings.HasSuffix(got, " mL") {
		p.t.Errorf("poured: %q", got)
	}
}

// closes works out how the lid goes on, and lets it go down in the view.
func (p *page) closes() {
	p.t.Helper()
	p.click(`[data-key="closing"] summary`)
	p.click(`[data-key="lid"]`)
	p.until(`document.querySelectorAll('[data-key="closing"] tbody tr').length === 5`)
	if got := p.says(`[data-key="closing"] table`); !strings.Contains(got, "±") || !strings.Contains(got, "put on flat") {
		p.t.Errorf("closing the lid: %s", got)
	}
	p.looks("lid")
	p.click(`[data-key="closing"] tbody tr:nth-child(3) button`)
	if p.drawn() == 0 {
		p.t.Error("the view draws no closing lid")
	}
	p.clicks -= 3 // beside the path that is counted
}

// canvas is a picture of the view.
func (p *page) canvas() image.Image {
	p.t.Helper()
	box := eval[[4]int](p, `(() => { const b = document.querySelector('.canvas-box canvas').getBoundingClientRect(); return [b.left, b.top, b.right, b.bottom].map(Math.round) })()`)
	shot, err := chromedp.Run(p.ctx, chromedp.CaptureScreenshot())
	if err != nil {
		p.t.Fatal(err)
	}
	whole, err := png.Decode(bytes.NewReader(shot))
	if err != nil {
		p.t.Fatal(err)
	}
	return whole.(interface {
		SubImage(image.Rectangle) image.Image
	}).SubImage(image.Rect(box[0], box[1], box[2], box[3]))
}

// toSheet opens the shop sheet from the pour station; it and the proven mould take fewer than ten clicks.
func (p *page) toSheet() {
	p.t.Helper()
	p.clicks++ // the link; its answer is looked at without leaving the page
	got := eval[string](p, `fetch(document.querySelector('[data-key="sheet-A4"]').href).then(r => r.arrayBuffer().then(b => r.status + ' ' + new TextDecoder('latin1').decode(b.slice(0, 5))))`)
	if got != "200 %PDF-" {
		p.t.Errorf("shop sheet: %s", got)
	}
	if p.clicks >= 10 {
		p.t.Errorf("the mould and its sheet took %d clicks", p.clicks)
	}
}

// atTheBench walks through a run on a phone: stops, skips, timers, numbers, no connection, castings.
func (p *page) atTheBench(job string) {
	p.t.Helper()
	p.size(390, 844)
	p.run(chromedp.Navigate(p.base + "/bench/" + job))
	p.waitFor("form.card .big")
	p.looks("bench-begin")
	p.size(390, 844)
	p.targets("before the run")
	p.write("#who", "Kim")
	p.click("form.card .big")
	p.waitFor(".step .sign")
	p.looks("bench-step")
	p.size(390, 844)
	p.targets("at a step")
	p.stops()
	p.skips()
	p.times()
	p.offline()
	p.toTheEnd()
}

// targets checks that wet gloves hit: what is pressed is at least 56 px high.
func (p *page) targets(where string) {
	p.t.Helper()
	small := eval[string](p, `[...document.querySelectorAll('.walk button, .walk summary, .walk select, .walk .tick, .walk input:not([type=checkbox])')].filter(e => e.offsetParent && e.getBoundingClientRect().height < 56).map(e => e.outerHTML.slice(0, 80)).join('\n')`)
	if small != "" {
		p.t.Errorf("%s, too small to hit:\n%s", where, small)
	}
}

func (p *page) write(selector, text string) {
	p.t.Helper()
	eval[any](p, fmt.Sprintf(`(() => { const e = document.querySelector(%q); e.value = %q; e.dispatchEvent(new Event('input', {bubbles: true})); return null })()`, selector, text))
}

// stops looks ahead of a hard stop: there nothing can be signed.
func (p *page) stops() {
	p.t.Helper()
	last := eval[int](p, `document.querySelectorAll('.all-steps li').length`) - 1
	eval[any](p, `(document.querySelector('[data-key="all"]').open = true, null)`)
	p.click(fmt.Sprintf(`[data-key="go-%d"]`, last))
	p.waitFor(".step .verdict.bad")
	if n := eval[int](p, `document.querySelectorAll('.step .sign').length`); n != 0 {
		p.t.Error("the last step can be signed past the hard stops")
	}
	p.looks("bench-stop")
	p.size(390, 844)
	p.click(`[data-key="to-stop"]`)
	p.waitFor(".step .stop")
	p.waitFor(".step .sign")
}

// skips needs a reason for a skip, and shows it once the server has it.
func (p *page) skips() {
	p.t.Helper()
	p.click(`[data-key="skip"] summary`)
	p.waitFor(`[data-key="do-skip"]`)
	p.click(`[data-key="do-skip"]`)
	if got := p.says(`[data-key="skip"] .error`); !strings.Contains(got, "reason") {
		p.t.Errorf("a skip without a reason: %q", got)
	}
	at := p.says(".where")
	p.write("#reason", "coated yesterday")
	p.click(`[data-key="do-skip"]`)
	p.until(`document.querySelector('.where').innerText !== ` + quoted(at))
	p.until(`document.querySelectorAll('.mark.skipped').length === 1`)
}

// times starts a timer; it runs on after the page is loaded anew.
func (p *page) times() {
	p.t.Helper()
	n := eval[int](p, `document.querySelectorAll('.all-steps li').length`)
	for i := range n {
		eval[any](p, `(document.querySelector('[data-key="all"]').open = true, null)`)
		p.click(fmt.Sprintf(`[data-key="go-%d"]`, i))
		if eval[int](p, `document.querySelectorAll('[data-key="time-0"]').length`) > 0 {
			break
		}
	}
	p.click(`[data-key="time-0"]`)
	p.waitFor(".clocks strong")
	before := p.says(".clocks strong")
	p.run(chromedp.Reload())
	p.waitFor(".clocks strong")
	after := p.says(".clocks strong")
	if !strings.Contains(before, ":") || after > before && len(after) >= len(before) {
		p.t.Errorf("the timer showed %s, and after a reload %s", before, after)
	}
	p.looks("bench-timer")
	p.size(390, 844)
	p.click(`.clocks button`)
	p.run(chromedp.WaitNotPresent(chromedp.CSS(".clocks strong")))
}

// offline signs without a connection: the page says that it is not signed, keeps it over a reload, and
// sends it when the server answers again.
func (p *page) offline() {
	p.t.Helper()
	signed := eval[int](p, `document.querySelectorAll('.mark.signed').length`)
	eval[any](p, `(window.realFetch = window.fetch, window.fetch = () => Promise.reject(new TypeError('no connection')), null)`)
	p.click(".step .sign")
	p.waitFor(".walk .pending")
	if got := eval[int](p, `document.querySelectorAll('.mark.signed').length`); got != signed {
		p.t.Error("a step counts as signed though the server knows nothing of it")
	}
	if got := eval[int](p, `document.querySelectorAll('.mark.waits').length`); got != 1 {
		p.t.Errorf("%d steps wait", got)
	}
	p.looks("bench-offline")
	p.size(390, 844)
	p.run(chromedp.Reload()) // with the real fetch
	p.until(fmt.Sprintf(`document.querySelectorAll('.mark.signed').length === %d && !document.querySelector('.pending')`, signed+1))
}

// toTheEnd signs what is left and puts the mould and a casting down.
func (p *page) toTheEnd() {
	p.t.Helper()
	for range 100 {
		if eval[int](p, `document.querySelectorAll('.step .sign').length`) == 0 {
			break
		}
		at := p.says(".where")
		// The page is drawn anew when an answer comes, also between finding the button and pressing it.
		eval[any](p, `(document.querySelector('.step .sign').click(), null)`)
		p.until(`document.querySelector('.where')?.innerText !== ` + quoted(at))
	}
	p.waitFor(`[data-key="add-mould"]`)
	p.click(`[data-key="add-mould"]`)
	p.waitFor(`[data-key="outcome-scrap"]`)
	p.looks("bench-castings")
	p.size(390, 844)
	p.click(`[data-key="defects"] summary`)
	p.click(`#defect-void`)
	p.write("#weight", "58.2")
	p.click(`[data-key="outcome-scrap"]`)
	p.until(`/Put down of this run: .* scrap/.test(document.querySelector('.castings').innerText)`)
	got := eval[string](p, `fetch('/api/records/shots').then(r => r.json()).then(l => l.length + ' ' + l[0].outcome + ' ' + l[0].casting_g + ' ' + l[0].defects[0].code)`)
	if got != "1 scrap 58.2 void" {
		p.t.Errorf("the records hold: %s", got)
	}
}

// says is what stands in an element now; the page may draw it anew at any moment, so it is found and read at
// once.
func (p *page) says(selector string) string {
	p.t.Helper()
	return eval[string](p, `document.querySelector(`+quoted(selector)+`)?.innerText ?? ''`)
}

// until waits for a condition in the page.
func (p *page) until(js string) {
	p.t.Helper()
	ok := eval[bool](p, `new Promise(done => { const end = Date.now() + 100000; const look = () => { if (`+js+`) done(true); else if (Date.now() > end) done(false); else setTimeout(look, 50) }; look() })`)
	if !ok {
		p.shoot("failure")
		p.t.Fatalf("never: %s; the page says:\n%s", js, eval[string](p, `document.body.innerText`))
	}
}

func quoted(s string) string { return fmt.Sprintf("%q", s) }

// office plans a batch of the job's mould and asks the records why a casting failed.
func (p *page) office() {
	p.t.Helper()
	p.size(1440, 900)
	p.run(chromedp.Navigate(p.base + "/batches"))
	p.waitFor(`[data-key="begin-batch"]`)
	p.looks("batches")
	p.click(`[data-key="begin-batch"]`)
	p.waitFor("#batch-text")
	p.click(`[data-key="plan"]`)
	p.until(`document.querySelector('.board img')?.naturalWidth > 0`)
	if got := p.says(".batch"); !strings.Contains(got, "a part") || !strings.Contains(got, "Ready ") {
		p.t.Errorf("the plan says: %s", got)
	}
	p.looks("batch")
	text := eval[string](p, `document.querySelector('#batch-text').value`)
	p.write("#batch-text", strings.Replace(text, "operators = 1", "operators = -1", 1))
	p.click(`[data-key="plan"]`)
	p.until(`/operators/.test(document.querySelector('.card .error').innerText)`)
	if got := eval[string](p, `(() => { const a = document.querySelector('#batch-text'); return a.value.slice(a.selectionStart, a.selectionEnd) })()`); !strings.HasPrefix(got, "operators") {
		p.t.Errorf("the unsound line is not marked: %q", got)
	}
	p.run(chromedp.Navigate(p.base + "/records"))
	p.waitFor(".castings-list button")
	p.click(".castings-list button")
	p.until(`document.querySelectorAll('.causes li').length > 0`)
	p.looks("records")
}
