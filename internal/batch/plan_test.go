package batch

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"
)

func demo(t testing.TB) *Bench {
	t.Helper()
	b, err := Load("../../demo/batch/batch.toml")
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestDemoPlan(t *testing.T) {
	b := demo(t)
	t0 := time.Now()
	p, err := Make(context.Background(), b, Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d loads, end %s, bound %s, gap %.1f %%, overnight %d, %d schedules, %v", len(p.Loads), b.Clock(p.EndS), b.Clock(p.BoundS), 100*p.Gap(), p.Overnight, p.Schedules, time.Since(t0))
	if err := Verify(b, p); err != nil {
		t.Error(err)
	}
	if p.Overnight == 0 {
		t.Error("no cure runs overnight")
	}
	if len(p.Late) > 0 {
		t.Error(p.Late)
	}
	if p.BoundS > p.EndS {
		t.Errorf("bound %d above the end %d", p.BoundS, p.EndS)
	}
	if testing.Verbose() {
		for _, l := range p.Loads {
			t.Log(l.Name, l.Mixes)
		}
	}
}

var _ = errors.As
var _ = strings.Contains
