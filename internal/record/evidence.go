package record

import (
	"fmt"
	"strings"
)

// JobFacts is what the job's report says of the mould and the material. Nil is not known.
type JobFacts struct {
	MinDraftDeg     *float64 `json:"min_draft_deg,omitempty"`
	UndercutDepthMM *float64 `json:"undercut_depth_mm,omitempty"`
	TrappedMM3      *float64 `json:"trapped_mm3,omitempty"` // air the fill leaves behind as planned
	LineOnShowMM    *float64 `json:"line_on_show_mm,omitempty"`
	SteepestDeg     *float64 `json:"parting_steepest_deg,omitempty"`
	TiltDeg         *float64 `json:"tilt_deg,omitempty"`
	DemouldS        *float64 `json:"demould_s,omitempty"`     // at the shop's temperature
	MostMixG        *float64 `json:"most_mix_g,omitempty"`    // that its exotherm allows at once
	Platinum        bool     `json:"platinum_cure,omitempty"` // the mould or the casting is a platinum silicone
}

// evidence is all that is known of one casting.
type evidence struct {
	shot    Shot
	mix     *Mix
	lots    []Lot
	life    Life
	signed  []SignOff
	facts   JobFacts
	factors map[string]factor // by signal id, of the history
}

// signal is how strongly something was so, 0 to 1; known is false where nothing was recorded.
type signal struct {
	strength float64
	words    string
	known    bool
}

// Thresholds from which a signal counts; common practice, no source, unless a line says otherwise.
const (
	fullDraftDeg   = 1.0  // less draft than this grips
	trappedFullMM3 = 50.0 // a pocket that anyone sees: 4.6 mm across as a ball
	potLifeShare   = 0.6  // of the pot life at which the mix begins to run badly
	coldC, hotC    = 20, 27
	dampPct        = 60.0
	weightOffPct   = 1.0 // densities are known to about ±1 %
	tiltOffDeg     = 2.0
	steepDeg       = 30.0
	workingPotKPa  = 200.0 // pressure over the air that makes bubbles small
)

// signals judge the evidence, one each.
var signals = map[string]func(*evidence) signal{
	"trapped": func(e *evidence) signal {
		return over(e.facts.TrappedMM3, 0, trappedFullMM3, "the planned fill leaves %.3g mm³ of air behind")
	},
	"undercut": func(e *evidence) signal {
		return over(e.facts.UndercutDepthMM, 0, 0.5, "the part is undercut by %.2g mm")
	},
	"low-draft": func(e *evidence) signal {
		return under(e.facts.MinDraftDeg, fullDraftDeg, 0, "the least draft is %.2g°")
	},
	"line-on-show": func(e *evidence) signal {
		return over(e.facts.LineOnShowMM, 0, 1, "%.3g mm of the parting line lie on show faces")
	},
	"steep": func(e *evidence) signal {
		return over(e.facts.SteepestDeg, steepDeg, 60, "the parting surface rises at up to %.0f°, so that closing can push the halves aside")
	},
	"tilt-off": tiltOff,
	"no-pressure": func(e *evidence) signal {
		if e.shot.PotKPa == nil {
			return signal{}
		}
		return under(e.shot.PotKPa, workingPotKPa, 0, "it cured under %.0f kPa over the air")
	},
	"late":  late,
	"early": early,
	"cold":  func(e *evidence) signal { return under(e.temperature(), coldC, coldC-8, "it was mixed at %.1f °C") },
	"hot":   func(e *evidence) signal { return over(e.temperature(), hotC, hotC+8, "it was mixed at %.1f °C") },
	"damp": func(e *evidence) signal {
		if e.mix == nil {
			return signal{}
		}
		return over(e.mix.HumidityPct, dampPct, 90, "the air held %.0f %% humidity")
	},
	"ratio-off":    ratioOff,
	"old-lot":      oldLot,
	"open-long":    openLong,
	"worn":         worn,
	"short-weight": func(e *evidence) signal { return e.weight(-1, "%.1f %% lighter than predicted") },
	"over-weight":  func(e *evidence) signal { return e.weight(+1, "%.1f %% heavier than predicted") },
	"big-mix": func(e *evidence) signal {
		if e.mix == nil || e.facts.MostMixG == nil {
			return signal{}
		}
		share := e.mix.massG() / *e.facts.MostMixG
		return over(&share, 0.8, 1.2, "the mix was %.2g times the largest advised for its heat")
	},
	"platinum": func(e *evidence) signal {
		return signal{1, "a platinum cure is easily stopped", e.facts.Platinum}
	},
	"release-skipped": releaseSkipped,
	"factor-mould":    func(e *evidence) signal { return e.factor("factor-mould") },
	"factor-cavity":   func(e *evidence) signal { return e.factor("factor-cavity") },
	"factor-lot":      func(e *evidence) signal { return e.factor("factor-lot") },
	"factor-operator": func(e *evidence) signal { return e.factor("factor-operator") },
}

// over is a signal that rises from 0 at from to 1 at full; under falls from from down to full.
func over(v *float64, from, full float64, words string) signal {
	if v == nil {
		return signal{}
	}
	return signal{min(1, max(0, (*v-from)/(full-from))), fmt.Sprintf(words, *v), true}
}

func under(v *float64, from, full float64, words string) signal { return over(v, from, full, words) }

func (e *evidence) temperature() *float64 {
	if e.mix == nil {
		return nil
	}
	return e.mix.TemperatureC
}

func (m *Mix) massG() (g float64) {
	for _, p := range m.Parts {
		g += p.WeighedG
	}
	return g
}

func late(e *evidence) signal {
	if e.mix == nil || e.mix.PotLifeS == nil {
		return signal{}
	}
	s := e.shot.PouredAt.Sub(e.mix.MixedAt).Seconds()
	share := s / *e.mix.PotLifeS
	return signal{min(1, max(0, (share-potLifeShare)/(1-potLifeShare))),
		fmt.Sprintf("it was poured %.0f s after mixing, %.0f %% of the pot life", s, 100*share), true}
}

func early(e *evidence) signal {
	if e.shot.DemouldedAt == nil || e.facts.DemouldS == nil {
		return signal{}
	}
	s := e.shot.DemouldedAt.Sub(e.shot.PouredAt).Seconds()
	share := s / *e.facts.DemouldS
	return signal{min(1, max(0, 2*(1-share))), fmt.Sprintf("it was taken out after %.1f h, %.0f %% of the demould time", s/3600, 100*share), true}
}

func tiltOff(e *evidence) signal {
	if e.shot.TiltDeg == nil || e.facts.TiltDeg == nil {
		return signal{}
	}
	d := *e.shot.TiltDeg - *e.facts.TiltDeg
	return signal{min(1, max(0, (max(d, -d)-tiltOffDeg)/10)), fmt.Sprintf("it stood at %.1f°, planned was %.1f°", *e.shot.TiltDeg, *e.facts.TiltDeg), true}
}

func ratioOff(e *evidence) signal {
	if e.mix == nil {
		return signal{}
	}
	err := e.mix.RatioErrorPct()
	return signal{min(1, err/e.mix.TolerancePct), fmt.Sprintf("the weights put the ratio off by %.2g %%, allowed is %.2g %%", err, e.mix.TolerancePct), true}
}

func oldLot(e *evidence) signal {
	if e.mix == nil {
		return signal{}
	}
	var old []string
	dated := false
	for _, l := range e.lots {
		last := l.LastDay()
		dated = dated || last != ""
		if last != "" && e.mix.day() > last {
			old = append(old, fmt.Sprintf("lot %s was good until %s", l.ID, last))
		}
	}
	if len(old) == 0 {
		return signal{0, "no lot was past its date", dated}
	}
	return signal{1, strings.Join(old, ", "), true}
}

func openLong(e *evidence) signal {
	if e.mix == nil {
		return signal{}
	}
	most, id := -1.0, ""
	for _, l := range e.lots {
		if d, ok := daysBetween(l.OpenedOn, e.mix.day()); ok && d > most {
			most, id = d, l.ID
		}
	}
	if most < 0 {
		return signal{}
	}
	const month = 30.0 // opened bottles that take up water are used within about a month (common practice, no source)
	return signal{min(1, max(0, (most-month)/(2*month))), fmt.Sprintf("lot %s had been open %.0f days", id, most), true}
}

func worn(e *evidence) signal {
	if e.life.ExpectedShots == 0 {
		return signal{}
	}
	share := float64(e.life.Fillings) / float64(e.life.ExpectedShots)
	return signal{min(1, max(0, (share-0.6)/0.6)), fmt.Sprintf("the mould has done %d of %d shots", e.life.Fillings, e.life.ExpectedShots), true}
}

// weight compares the casting with its prediction; side −1 looks for too light, +1 for too heavy.
func (e *evidence) weight(side float64, words string) signal {
	if e.shot.CastingG == nil || e.shot.PredictedG == nil {
		return signal{}
	}
	off := 100 * (*e.shot.CastingG / *e.shot.PredictedG - 1)
	if side*off <= 0 {
		return signal{0, fmt.Sprintf("its weight is %+.1f %% off the prediction", off), true}
	}
	return signal{min(1, max(0, (side*off-weightOffPct)/4)), "it is " + fmt.Sprintf(words, side*off), true}
}

func releaseSkipped(e *evidence) signal {
	var skipped []string
	known := false
	for _, s := range e.signed {
		if strings.HasPrefix(s.Step, ReleaseStep) {
			known = true
			if s.Skipped {
				skipped = append(skipped, fmt.Sprintf("%s was skipped (%s, %s)", s.Step, s.Reason, s.Operator))
			}
		}
	}
	if len(skipped) == 0 {
		return signal{0, "every release coat was signed", known}
	}
	return signal{1, strings.Join(skipped, ", "), true}
}

// ReleaseStep begins the id of every step that puts on release.
const ReleaseStep = "release"
