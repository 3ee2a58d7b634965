package record

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"
)

// Both databases export the same bytes, twice the same, and what was written is what is read back.
// Formula starts are common practice, no source; a minus before a number in a text counts too.
func TestHarmless(t *testing.T) {
	for in, want := range map[string]string{"": "", "fine": "fine", "a=1": "a=1", "=1+1": "'=1+1", "+1": "'+1", "-2": "'-2", "@SUM(A1)": "'@SUM(A1)", "\t=1": "'\t=1",
		"\r=1": "'\r=1", "\n=1": "'\n=1", "＝1": "'＝1", "＠A": "'＠A", "'=1": "'=1", "\xff": "\xff"} {
		if got := harmless(in); got != want {
			t.Errorf("%q becomes %q, want %q", in, got, want)
		}
	}
}

func TestExports(t *testing.T) {
	got := map[string][]byte{}
	eachDatabase(t, func(t *testing.T, dsn string) {
		s := open(t, dsn)
		fullBench(t, s)
		for _, table := range ExportTables() {
			var b bytes.Buffer
			read(t, s, func(r *Reader) error { return r.WriteCSV(&b, table) })
			rows, err := csv.NewReader(&b).ReadAll()
			if err != nil || len(rows) < 2 {
				t.Fatalf("%s: %d rows, %v", table, len(rows), err)
			}
			if table == "shots" {
				at := map[string]string{}
				for i, h := range rows[0] {
					at[h] = rows[1][i]
				}
				if at["mould"] != "mould-1" || at["casting_g"] != "36" || at["pot_kpa"] != "" || at["poured_at"] != "2026-03-02T09:00:00.000000Z" {
					t.Errorf("%v", at)
				}
				if at["notes"] != "'=1+1" { // a spreadsheet must not run a note as a formula
					t.Errorf("note %q", at["notes"])
				}
			}
		}
		var a, b bytes.Buffer
		read(t, s, func(r *Reader) error { return r.WriteXLSX(&a) })
		read(t, s, func(r *Reader) error { return r.WriteXLSX(&b) })
		if !bytes.Equal(a.Bytes(), b.Bytes()) {
			t.Error("the same records give another workbook the second time")
		}
		if other, ok := got["xlsx"]; ok && !bytes.Equal(other, a.Bytes()) {
			t.Error("the workbooks of the two databases differ")
		}
		got["xlsx"] = bytes.Clone(a.Bytes())
		f, err := excelize.OpenReader(&a)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if sheets := f.GetSheetList(); strings.Join(sheets, " ") != strings.Join(ExportTables(), " ") {
			t.Errorf("sheets %v", sheets)
		}
		rows, err := f.GetRows("mix_parts")
		if err != nil || len(rows) != 3 || strings.Join(rows[1], " ") != "mix-1 0 A lot-1 20 20.1" {
			t.Errorf("%v, %v", rows, err)
		}
		if formula, err := f.GetCellFormula("shots", "R2"); err != nil || formula != "" {
			t.Errorf("formula %q, %v", formula, err)
		}
		var j bytes.Buffer
		read(t, s, func(r *Reader) error { return r.WriteJSON(&j) })
		var tables map[string][]map[string]any
		if err := json.Unmarshal(j.Bytes(), &tables); err != nil || tables["mixes"][0]["temperature_c"] != 22.0 {
			t.Errorf("%v %v", tables["mixes"], err)
		}
	})
	s := open(t, filepath.Join(t.TempDir(), "r.db"))
	read(t, s, func(r *Reader) error {
		if err := r.WriteCSV(&bytes.Buffer{}, "secrets"); err == nil || !strings.Contains(err.Error(), "tables are: moulds") {
			t.Errorf("%v", err)
		}
		return nil
	})
}
