package record

import (
	"math"
	"testing"
	"time"
)

// TestStockAndRecall: three bottles of two components; what is left, which goes first, and what a bottle went into.
func TestStockAndRecall(t *testing.T) {
	eachDatabase(t, stockAndRecall)
}

func stockAndRecall(t *testing.T, dsn string) {
	s := open(t, dsn)
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	add(t, s, &Mould{Head: Head{ID: "m"}, Name: "m", MadeOn: "2026-01-01"})
	add(t, s, &Lot{Head: Head{ID: "a1"}, Material: "pu", Component: "A", NetG: 500, OpenedOn: "2026-02-20", ExpiresOn: "2026-09-01"})
	add(t, s, &Lot{Head: Head{ID: "a0"}, Material: "pu", Component: "A", NetG: 500, OpenedOn: "2026-02-01", DaysOpenMax: 20})
	add(t, s, &Lot{Head: Head{ID: "b1"}, Material: "pu", Component: "B", NetG: 250})
	add(t, s, &Lot{Head: Head{ID: "b2"}, Material: "pu", Component: "B"})
	for k, g := range []float64{40, 60.5} {
		id := []string{"x1", "x2"}[k]
		add(t, s, &Mix{Head: Head{ID: id}, Material: "pu", MixedAt: at.Add(time.Duration(k) * time.Hour), TolerancePct: 5, Operator: "k",
			Parts: []MixPart{{"A", "a1", g, g}, {"B", "b1", g / 2, g / 2}}})
		add(t, s, &Shot{Mould: "m", Mix: id, Cavity: 1, PouredAt: at.Add(time.Duration(k)*time.Hour + time.Minute), Outcome: []Outcome{Good, Scrap}[k], Operator: "k"})
	}
	add(t, s, &Shot{Mould: "m", Cavity: 1, PouredAt: at.Add(5 * time.Hour), Outcome: Good, Operator: "k"})
	err := s.Read(t.Context(), func(r *Reader) error {
		stock, err := r.Stock("2026-03-03")
		if err != nil {
			return err
		}
		var order string
		for _, l := range stock {
			order += l.ID + " "
		}
		if order != "a0 a1 b1 b2 " {
			t.Errorf("order %s", order)
		}
		if a := stock[1]; math.Abs(a.LeftG-399.5) > 1e-9 || !a.Usable() || a.Mixes != 2 {
			t.Errorf("a1: %+v", a)
		}
		if stock[0].Usable() || !stock[0].IsPast || stock[3].Usable() || math.Abs(stock[2].LeftG-199.75) > 1e-9 {
			t.Errorf("%+v", stock)
		}
		rec, err := r.Recall("a1")
		if err != nil {
			return err
		}
		if len(rec.Mixes) != 2 || len(rec.Castings) != 2 || rec.Good != 1 || rec.Scrap != 1 {
			t.Errorf("recall %+v", rec)
		}
		if _, err := r.Recall("none"); err == nil {
			t.Error("a lot that is not there is recalled")
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	err = s.Write(t.Context(), Entry{Operator: "k"}, func(tx *Tx) error {
		return tx.Add(&Absence{Operator: "Kim", FromDay: "2026-03-05", UntilDay: "2026-03-04"})
	})
	if err == nil {
		t.Error("an absence that ends before it begins is kept")
	}
	add(t, s, &Absence{Operator: "Kim", FromDay: "2026-03-04", UntilDay: "2026-03-05"})
}
