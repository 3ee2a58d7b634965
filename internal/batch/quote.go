package batch

import (
	"context"
	"fmt"
	"math"
	"time"
)

// Quoting is what a quote says beside the prices, as the maker sets it.
type Quoting struct {
	From, To   []string // lines of names and addresses
	Logo       string   // the path of a PNG or JPEG; "" is none
	Number     string
	Date       time.Time
	ValidDays  int // 0: nothing is said
	TaxName    string
	TaxPct     float64
	MinOrder   float64 // before tax
	Quantities []int   // for which prices are given besides
	Terms      []string
}

// Quote is an offer for a batch. Every amount is in whole hundredths of the currency: an amount is its
// quantity times its price as printed, and a sum is the sum of the amounts as printed.
type Quote struct {
	Number     string      `json:"number,omitempty"`
	Date       string      `json:"date"`
	ValidUntil string      `json:"valid_until,omitempty"`
	From       []string    `json:"from,omitempty"`
	To         []string    `json:"to,omitempty"`
	Currency   string      `json:"currency"`
	Lines      []QuoteLine `json:"lines"`
	Net        Money100    `json:"net"`
	TaxName    string      `json:"tax_name,omitempty"`
	TaxPct     float64     `json:"tax_pct"`
	Tax        Money100    `json:"tax"`
	Total      Money100    `json:"total"`
	Ready      string      `json:"ready"` // when the plan has the last part
	Breaks     []Break     `json:"breaks,omitempty"`
	Terms      []string    `json:"terms,omitempty"`
}

// Money100 is an amount in hundredths of the currency.
type Money100 int64

// Float is the amount in the currency.
func (m Money100) Float() float64 { return float64(m) / 100 }

func (m Money100) String() string {
	sign := ""
	if m < 0 {
		sign, m = "−", -m
	}
	return fmt.Sprintf("%s%d.%02d", sign, m/100, m%100)
}

// cents rounds an amount to hundredths, halves away from zero.
func cents(v float64) Money100 { return Money100(math.Round(v * 100)) }

// QuoteLine is one thing that is offered.
type QuoteLine struct {
	What     string   `json:"what"`
	Quantity int      `json:"quantity"`
	Each     Money100 `json:"each"`
	Amount   Money100 `json:"amount"`
	Basis    string   `json:"basis"` // what the price rests on
}

// Break is the price of a part in an order of so many of each version.
type Break struct {
	Quantity int        `json:"quantity"`
	Each     []Money100 `json:"each,omitempty"` // by version, in the order of the lines
	Tooling  Money100   `json:"tooling"`        // once, of all versions
	Why      string     `json:"why,omitempty"`  // where such an order cannot be planned
}

// MakeQuote puts a plan's costs into an offer. Prices for other quantities come from plans of their own, made
// with few tries, so they are on the safe side: a longer search makes a plan shorter, never dearer.
func (b *Bench) MakeQuote(ctx context.Context, p *Plan, c *Costs) (*Quote, error) {
	q := &Quote{Number: b.Quoting.Number, Date: b.Quoting.Date.Format(dateLayout), From: b.Quoting.From, To: b.Quoting.To, Currency: c.Currency,
		TaxName: b.Quoting.TaxName, TaxPct: b.Quoting.TaxPct, Terms: b.Quoting.Terms, Ready: b.at(p.EndS).Format(dateLayout)}
	if n := b.Quoting.ValidDays; n > 0 {
		q.ValidUntil = b.Quoting.Date.AddDate(0, 0, n).Format(dateLayout)
	}
	q.Lines = b.quoteLines(c)
	for _, l := range q.Lines {
		q.Net += l.Amount
	}
	if least := cents(b.Quoting.MinOrder); q.Net < least {
		q.Lines = append(q.Lines, QuoteLine{What: "Up to the minimum order", Quantity: 1, Each: least - q.Net, Amount: least - q.Net,
			Basis: fmt.Sprintf("the least order is %s %s before tax", least, c.Currency)})
		q.Net = least
	}
	q.Tax = cents(q.Net.Float() * q.TaxPct / 100)
	q.Total = q.Net + q.Tax
	for _, n := range b.Quoting.Quantities {
		br, err := b.priceBreak(ctx, n)
		if err != nil {
			return nil, err
		}
		q.Breaks = append(q.Breaks, br)
	}
	return q, nil
}

// quoteLines are the parts, and the moulds where they are charged whole.
func (b *Bench) quoteLines(c *Costs) (out []QuoteLine) {
	var tooling Money100
	for v := range c.Versions {
		vc := &c.Versions[v]
		if vc.Parts == 0 {
			continue
		}
		each := cents(b.priced((vc.Total - vc.Tooling) / float64(vc.Parts)))
		tooling += cents(b.priced(vc.Tooling))
		what := vc.Version
		if colour := b.Versions[v].Colour; colour != "" {
			what += ", " + colour
		}
		out = append(out, QuoteLine{What: what, Quantity: vc.Parts, Each: each, Amount: Money100(vc.Parts) * each, Basis: b.basis(vc)})
	}
	if tooling > 0 {
		out = append(out, QuoteLine{What: "Moulds, once", Quantity: 1, Each: tooling, Amount: tooling, Basis: "every mould whole, with the margin"})
	}
	return out
}

// basis says what a version's price is made of, the three largest shares of its cost first. The margin is the
// maker's own matter, and is in plan.txt.
func (b *Bench) basis(vc *VersionCost) string {
	s := fmt.Sprintf("%s, of them %s for scrap and spares", counted(vc.Shots, "shot"), counted(max(0, vc.Shots*b.cavitiesOf(vc.Version)-vc.Parts), "part"))
	for k, l := range vc.Lines {
		if k == 3 {
			break
		}
		s += fmt.Sprintf("; %s %.0f\u00a0%%", l.Name, 100*l.Share)
	}
	return s
}

func (b *Bench) cavitiesOf(version string) int {
	return b.Tools[b.Versions[b.version(version)].Tool].Cavities
}

// breakTries is how many schedules are tried for a price at another quantity.
const breakTries = 40

// priceBreak plans an order of n of each version that is wanted.
func (b *Bench) priceBreak(ctx context.Context, n int) (Break, error) {
	other := *b
	other.Versions = append([]Version(nil), b.Versions...)
	for v := range other.Versions {
		other.Versions[v].Due = nil
		if other.Versions[v].Quantity > 0 {
			other.Versions[v].Quantity = n
		}
	}
	other.Days = maxDays
	out := Break{Quantity: n}
	p, err := Make(ctx, &other, Options{Iterations: breakTries})
	if err != nil {
		if ctx.Err() != nil {
			return out, ctx.Err()
		}
		out.Why = err.Error()
		return out, nil
	}
	c := other.Costs(p)
	for v := range c.Versions {
		vc := &c.Versions[v]
		if vc.Parts == 0 {
			continue
		}
		out.Each = append(out.Each, cents(other.priced((vc.Total-vc.Tooling)/float64(vc.Parts))))
		out.Tooling += cents(other.priced(vc.Tooling))
	}
	return out, nil
}
