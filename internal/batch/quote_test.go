package batch

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/xuri/excelize/v2"
)

// priced is a bench with a price for everything.
func priced(t *testing.T, seed uint64) *Bench {
	t.Helper()
	rng := rand.New(rand.NewPCG(seed, 77))
	b := large(20+rng.IntN(30), 10)
	b.Recipes[0].Material = "pu"
	b.Materials = []Material{{Name: "pu", Kits: []Kit{{500, 21.37}, {2000, 63.91}}}}
	b.Money = Money{Currency: "EUR", LabourPerH: 20 + rng.Float64()*30, BenchPerDay: 7.77, PotPerH: 0.63, VacuumPerH: 1.11, CoatPerShot: 0.313, CupPerMix: 0.477,
		OverheadPct: 12.5, MarginPct: 30, WastePct: 7.5, ToolCost: map[string]float64{}, MouldsWhole: seed%2 == 0,
		Consumables: []Consumable{{"gloves", "pairs", 1, PerMix, 0.12}, {"sealer", "g", 3.5, PerShot, 0.031}, {"filters", "", 1, PerBatch, 4.4}, {"wax", "g", 2, PerLoad, 0.02}, {"bags", "", 1, PerPart, 0.05}}}
	for k := range b.Tools {
		b.Money.ToolCost[b.Tools[k].Name], b.Tools[k].LifeShots = 19.53, 60
	}
	for v := range b.Versions {
		b.Versions[v].SparePct = 10
	}
	b.Quoting = Quoting{From: []string{"A workshop", "A street 1"}, To: []string{"A customer"}, Number: "17", Date: b.Start, ValidDays: 30, TaxName: "VAT", TaxPct: 19,
		Quantities: []int{3, 8}, Terms: []string{"Half on order, half on delivery."}}
	if seed%3 == 0 {
		b.Quoting.MinOrder = 100_000
	}
	return b
}

// TestEverySumAddsUp adds the costs and the quote up again from their lines, as printed in the workbook.
func TestEverySumAddsUp(t *testing.T) {
	for seed := range uint64(3) {
		b := priced(t, seed)
		p := mustPlan(t, b, quick)
		c := b.Costs(p)
		near := func(what string, got, want float64) {
			t.Helper()
			if math.Abs(got-want) > 1e-6*(1+math.Abs(want)) {
				t.Errorf("seed %d: %s is %.6f, adds up to %.6f", seed, what, got, want)
			}
		}
		total, parts := 0.0, 0
		byName := map[string]float64{}
		for _, v := range c.Versions {
			sum, overhead, rest := 0.0, 0.0, 0.0
			for _, l := range v.Lines {
				sum += l.Amount
				byName[l.Name] += l.Amount
				if l.Name == "overhead" {
					overhead = l.Amount
				} else {
					rest += l.Amount
				}
			}
			near("a version", v.Total, sum)
			near("the overhead", overhead, rest*0.125)
			near("a part", v.PerPart*float64(v.Parts), sum)
			near("the margin", v.PricePart-v.PerPart, 0.30*v.PricePart)
			total += sum
			parts += v.Parts
		}
		near("all", c.Total, total)
		if parts != c.Parts || len(byName) != len(c.Lines) {
			t.Errorf("seed %d: %d parts of %d, %d costs of %d", seed, parts, c.Parts, len(byName), len(c.Lines))
		}
		for _, l := range c.Lines {
			near(l.Name, l.Amount, byName[l.Name])
		}
		byHand := costsByHand(b, p)
		for name, want := range byHand {
			near(name, byName[name], want)
		}
		q, err := b.MakeQuote(t.Context(), p, c)
		if err != nil {
			t.Fatal(err)
		}
		readBack(t, b, q, c)
	}
}

// costsByHand works some of the costs out anew, straight from the steps and loads.
func costsByHand(b *Bench, p *Plan) map[string]float64 {
	out := map[string]float64{}
	in := map[string]int64{}
	mixes, shots := 0, 0
	for _, s := range p.Steps {
		h := float64(s.EndS-s.StartS) / 3600
		switch s.Kind {
		case "load pot":
			in[s.Load] = s.StartS
		case "unload pot":
			out["pressure pot"] += float64(s.EndS-in[s.Load]) / 3600 * b.Money.PotPerH
		case "degas":
			out["vacuum chamber"] += h * b.Money.VacuumPerH
		case "mix":
			mixes++
		case "pour":
			shots++
		}
		if s.Kind != "degas" && s.Kind != "pressure" {
			out["hands"] += h * b.Money.LabourPerH
		}
	}
	out["cups"], out["release coat"] = float64(mixes)*b.Money.CupPerMix, float64(shots)*b.Money.CoatPerShot
	out["gloves"], out["sealer"], out["filters"] = float64(mixes)*0.12, float64(shots)*3.5*0.031, 4.4
	out["wax"], out["bags"] = float64(len(p.Loads))*2*0.02, float64(shots)*0.05
	moulds := 0
	for t := range b.Tools {
		moulds += b.Tools[t].Count
	}
	out["moulds"] = float64(shots) * 19.53 / 60
	if b.Money.MouldsWhole {
		out["moulds"] = float64(moulds) * 19.53
	}
	return out
}

// readBack opens the workbook and adds the quote up from its cells, in whole hundredths.
func readBack(t *testing.T, b *Bench, q *Quote, c *Costs) {
	t.Helper()
	var buf, again bytes.Buffer
	if err := b.WriteQuoteXLSX(&buf, q, c); err != nil {
		t.Fatal(err)
	}
	if err := b.WriteQuoteXLSX(&again, q, c); err != nil || !bytes.Equal(buf.Bytes(), again.Bytes()) {
		t.Errorf("two workbooks of one quote differ (%v)", err)
	}
	f, err := excelize.OpenReader(&buf)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := f.GetRows("Quote")
	if err != nil {
		t.Fatal(err)
	}
	cell := func(r []string, k int) int64 {
		if k >= len(r) {
			return 0
		}
		v, err := strconv.ParseFloat(r[k], 64)
		if err != nil {
			return 0
		}
		return int64(math.Round(v * 100))
	}
	var net, tax, total, sum int64
	inLines := false
	for n, r := range rows {
		if len(r) == 0 {
			continue
		}
		switch {
		case r[0] == "Part":
			inLines = true
		case r[0] == "Net":
			inLines, net = false, cell(r, 3)
		case r[0] == "Tax VAT":
			tax = cell(r, 3)
		case r[0] == "Total":
			total = cell(r, 3)
		case inLines:
			amount := cell(r, 3)
			if cell(r, 1)/100*cell(r, 2) != amount {
				t.Errorf("%v: quantity times price is not the amount", r)
			}
			if words, err := f.GetCellFormula("Quote", "D"+strconv.Itoa(n+1)); err != nil || words == "" {
				t.Errorf("row %d has no formula", n+1)
			}
			sum += amount
		}
	}
	if sum != net || net != int64(q.Net) || tax != int64(math.Round(float64(net)*0.19)) || net+tax != total || total != int64(q.Total) {
		t.Errorf("lines %d, net %d, tax %d, total %d", sum, net, tax, total)
	}
	if least := cents(b.Quoting.MinOrder); q.Net < least {
		t.Errorf("net %s is under the least order %s", q.Net, least)
	}
	for _, br := range q.Breaks {
		if br.Why != "" || len(br.Each) == 0 {
			t.Errorf("no price for %d: %s", br.Quantity, br.Why)
		}
	}
}

func TestQuotePDF(t *testing.T) {
	b := priced(t, 1)
	dir := t.TempDir()
	b.Quoting.Logo = filepath.Join(dir, "logo.png")
	img := image.NewRGBA(image.Rect(0, 0, 60, 20))
	for x := range 60 {
		img.Set(x, x/3, color.RGBA{200, 40, 40, 255})
	}
	var buf bytes.Buffer
	if err := png.Encode(&buf, img); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(b.Quoting.Logo, buf.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	p := mustPlan(t, b, quick)
	q, err := b.MakeQuote(t.Context(), p, b.Costs(p))
	if err != nil {
		t.Fatal(err)
	}
	var one, two bytes.Buffer
	for _, w := range []*bytes.Buffer{&one, &two} {
		if err := b.WriteQuote(w, q); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(one.Bytes(), two.Bytes()) || !bytes.HasPrefix(one.Bytes(), []byte("%PDF")) {
		t.Error("two PDFs of one quote differ")
	}
	if path := os.Getenv("QUOTE_PDF"); path != "" {
		if err := os.WriteFile(path, one.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, bad := range []string{"no such file", "text"} {
		b.Quoting.Logo = filepath.Join(dir, bad)
		if bad == "text" {
			if err := os.WriteFile(b.Quoting.Logo, []byte("hello"), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		if err := b.WriteQuote(&two, q); err == nil {
			t.Errorf("a logo that is %s is taken", bad)
		}
	}
}
