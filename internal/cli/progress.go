package cli

import (
	"fmt"
	"sync"
	"time"

	"github.com/schollz/progressbar/v3"
)

// progress starts to show a stage of long work. The returned report takes the part done, 0 to 1,
// and may be called as often as the work likes, from any goroutine; end takes the display away.
func (s *session) progress() (report func(stage string, done float64), end func()) {
	show, end := s.display()
	var mu sync.Mutex
	return func(stage string, done float64) {
		mu.Lock()
		defer mu.Unlock()
		show(stage, done)
	}, end
}

func (s *session) display() (report func(stage string, done float64), end func()) {
	kind := s.progressKind
	if kind == "auto" || kind == "" {
		kind = "off"
		if s.env.ErrIsTTY && !s.quiet {
			kind = "bar"
		}
	}
	switch {
	case s.quiet || kind == "off":
		return func(string, float64) {}, func() {}
	case kind == "lines":
		return s.progressLines(), func() {}
	}
	bar := progressbar.NewOptions(1000, progressbar.OptionSetWriter(s.env.Err), progressbar.OptionClearOnFinish(),
		progressbar.OptionSetPredictTime(false), progressbar.OptionThrottle(100*time.Millisecond), progressbar.OptionSetWidth(30))
	last := ""
	return func(stage string, done float64) {
		if stage != last {
			bar.Describe(stage)
			last = stage
		}
		_ = bar.Set(int(1000 * min(1, max(0, done)))) // a display that fails must not stop the work
	}, func() { _ = bar.Finish() }
}

// progressLines prints a line at each new stage and each further tenth of it.
func (s *session) progressLines() func(stage string, done float64) {
	last, tenth := "", -1
	return func(stage string, done float64) {
		t := int(10 * min(1, max(0, done)))
		if stage == last && t <= tenth {
			return
		}
		last, tenth = stage, t
		fmt.Fprintf(s.env.Err, "%3d %% %s\n", 10*t, stage)
	}
}
