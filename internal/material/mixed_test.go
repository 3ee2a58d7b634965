package material

import (
	"strings"
	"testing"
)

func TestCheckAsked(t *testing.T) {
	m := twoPart(ByVolume, 2, 1, 1.12, 0.97) // 2.24 : 0.97 by mass
	m.RatioTolerancePct = 3
	if err := m.CheckAsked(map[string]float64{"A": 22.4, "B": 9.7}); err != nil {
		t.Error(err)
	}
	for want, g := range map[string]map[string]float64{
		`the mix has no "B"`:   {"A": 22.4},
		`no component "C"`:     {"A": 22.4, "B": 9.7, "C": 1},
		"by 15 %, and it allo": {"A": 22.4, "B": 9.7 / 1.15},
		"it takes 22.4 g of A": {"A": 20.4, "B": 11.7},
	} {
		if err := m.CheckAsked(g); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", want, err)
		}
	}
}
