package record

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"

	"mouldwright/internal/workbook"
)

// ExportTables names what can be exported: every kind's table, the lines of those that have some, and
// the events.
func ExportTables() []string {
	var out []string
	for _, k := range kindOrder {
		out = append(out, kinds[k].table)
		if ls := newRecord(k).lines(); ls != nil {
			out = append(out, ls.table)
		}
	}
	return append(out, "events")
}

// grid is a table to export: cells are string, int64, float64 or nil.
type grid struct {
	name string
	head []string
	rows [][]any
}

// grids reads every table in the order of ExportTables.
func (r *Reader) grids() ([]grid, error) {
	var out []grid
	for _, k := range kindOrder {
		recs, err := r.listOf(k, "")
		if err != nil {
			return nil, err
		}
		g := grid{name: kinds[k].table, head: names(all(newRecord(k)))}
		var under *grid
		if ls := newRecord(k).lines(); ls != nil {
			under = &grid{name: ls.table, head: append([]string{k}, names(ls.grow())...)}
		}
		for _, rec := range recs {
			g.rows = append(g.rows, cells(all(rec)))
			if under != nil {
				for _, row := range rec.lines().rows() {
					under.rows = append(under.rows, append([]any{rec.head().ID}, cells(row)...))
				}
			}
		}
		out = append(out, g)
		if under != nil {
			out = append(out, *under)
		}
	}
	events, err := r.Events()
	if err != nil {
		return nil, err
	}
	g := grid{name: "events", head: []string{"seq", "at", "operator", "action", "kind", "id", "rev", "reason", "body", "prev", "hash"}}
	for _, e := range events {
		g.rows = append(g.rows, []any{e.Seq, timeText(e.At), e.Operator, e.Action, e.Kind, e.ID, int64(e.Rev), e.Reason, string(e.Body), e.Prev, e.Hash})
	}
	return append(out, g), nil
}

func names(cols []column) []string {
	out := make([]string, len(cols))
	for i, c := range cols {
		out[i] = c.name
	}
	return out
}

func cells(cols []column) []any {
	out := make([]any, len(cols))
	for i, c := range cols {
		out[i] = c.stored()
	}
	return out
}

// WriteCSV writes one table as CSV (RFC 4180, UTF-8, a head line; numbers with a point).
func (r *Reader) WriteCSV(w io.Writer, table string) error {
	grids, err := r.grids()
	if err != nil {
		return err
	}
	for _, g := range grids {
		if g.name != table {
			continue
		}
		c := csv.NewWriter(w)
		if err := c.Write(g.head); err != nil {
			return fmt.Errorf("write CSV: %w", err)
		}
		for _, row := range g.rows {
			line := make([]string, len(row))
			for i, v := range row {
				line[i] = csvCell(v)
			}
			if err := c.Write(line); err != nil {
				return fmt.Errorf("write CSV: %w", err)
			}
		}
		c.Flush()
		if err := c.Error(); err != nil {
			return fmt.Errorf("write CSV: %w", err)
		}
		return nil
	}
	return fmt.Errorf("no table %q; tables are: %s", table, strings.Join(ExportTables(), ", "))
}

func csvCell(v any) string {
	switch v := v.(type) {
	case nil:
		return ""
	case int64:
		return strconv.FormatInt(v, 10)
	case float64:
		return strconv.FormatFloat(v, 'g', -1, 64)
	case string:
		return harmless(v)
	}
	return fmt.Sprint(v)
}

// formulaStarts are the characters after which a spreadsheet may take a cell for a formula, in their wide
// forms too, as some take them so. Common practice, no source.
const formulaStarts = "=+-@\t\r\n＝＋－＠"

// harmless keeps a spreadsheet from running a note as a formula: such a text gets an apostrophe, which
// spreadsheets take as "this is text". A workbook needs none: it says of each cell that it is text.
func harmless(s string) string {
	first, _ := utf8.DecodeRuneInString(s)
	if s != "" && strings.ContainsRune(formulaStarts, first) {
		return "'" + s
	}
	return s
}

// maxCellRunes is what a cell of a workbook can hold.
const maxCellRunes = 32767

// WriteXLSX writes every table as a sheet of one workbook.
func (r *Reader) WriteXLSX(w io.Writer) (err error) {
	grids, err := r.grids()
	if err != nil {
		return err
	}
	f := excelize.NewFile()
	defer f.Close() // it holds no file of ours
	for i, g := range grids {
		if i == 0 {
			err = f.SetSheetName("Sheet1", g.name)
		} else {
			_, err = f.NewSheet(g.name)
		}
		if err == nil {
			err = fillSheet(f, g)
		}
		if err != nil {
			return fmt.Errorf("write the workbook, sheet %s: %w", g.name, err)
		}
	}
	return workbook.Write(w, f)
}

func fillSheet(f *excelize.File, g grid) error {
	s, err := f.NewStreamWriter(g.name)
	if err != nil {
		return err
	}
	bold, err := f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}})
	if err != nil {
		return err
	}
	if err := s.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		return err
	}
	head := make([]any, len(g.head))
	for i, h := range g.head {
		head[i] = excelize.Cell{Value: h, StyleID: bold}
	}
	if err := s.SetRow("A1", head); err != nil {
		return err
	}
	for i, row := range g.rows {
		for j, v := range row {
			if t, ok := v.(string); ok && len(t) > maxCellRunes {
				row[j] = string([]rune(t)[:min(len([]rune(t)), maxCellRunes-1)]) + "…"
			}
		}
		if err := s.SetRow(fmt.Sprintf("A%d", i+2), row); err != nil {
			return err
		}
	}
	return s.Flush()
}

// WriteJSON writes every table as one JSON object of lists of objects.
func (r *Reader) WriteJSON(w io.Writer) error {
	grids, err := r.grids()
	if err != nil {
		return err
	}
	out := map[string][]map[string]any{}
	for _, g := range grids {
		rows := make([]map[string]any, len(g.rows))
		for i, row := range g.rows {
			rows[i] = map[string]any{}
			for j, v := range row {
				rows[i][g.head[j]] = v
			}
		}
		out[g.name] = rows
	}
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	if err := enc.Encode(out); err != nil {
		return fmt.Errorf("write JSON: %w", err)
	}
	return nil
}
