package batch

import (
	"context"
	"errors"
	"testing"
)

// TestWhatHelps: where one mould is all there is and cures overnight, a second is what helps most, and it saves
// half the days; its pay-back is its price over what it saves.
func TestWhatHelps(t *testing.T) {
	b := large(20, 5)
	b.Versions = b.Versions[:1]
	b.Versions[0].Quantity, b.Versions[0].Tool = 10, 0
	b.Tools[0].LifeShots = 50
	b.Money = Money{Currency: "EUR", LabourPerH: 20, BenchPerDay: 10, ToolCost: map[string]float64{b.Tools[0].Name: 25}}
	p := mustPlan(t, b, quick)
	helps, err := b.WhatHelps(t.Context(), p, b.Costs(p), nil)
	if err != nil {
		t.Fatal(err)
	}
	found := map[HelpKind]Help{}
	for _, h := range helps {
		found[h.Kind] = h
		if h.Words == "" {
			t.Errorf("%+v has no words", h)
		}
		if h.Kind != MoreCavities && h.SoonerS < 0 {
			t.Errorf("%s makes it later", h.Kind)
		}
	}
	m := found[MoreMoulds]
	if days := float64(p.EndS) / float64(day); float64(m.SoonerS)/float64(day) < days/3 {
		t.Errorf("a second mould saves %s of %.1f days", spell(m.SoonerS), days)
	}
	if saved := -m.CostChange; saved <= 0 || m.PayBack != 25/saved {
		t.Errorf("pay-back %g of 25 at %g saved", m.PayBack, saved)
	}
	if found[MoreOperators].SoonerS > m.SoonerS || len(found) != 6 {
		t.Errorf("%+v", found)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := b.WhatHelps(ctx, p, b.Costs(p), nil); !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
}
