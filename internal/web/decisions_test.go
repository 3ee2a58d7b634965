package web

import (
	"errors"
	"strings"
	"testing"

	"mouldwright/internal/job"

	"github.com/pelletier/go-toml/v2"
	"pgregory.net/rapid"
)

const sample = `# mine
format = 1

[part]
name = "Ring"   # said by the client
file = "ring.stl"

[show]
colours = ["#d04020",
  "#112233"]      # two
grow_deg = 0

# [[show.box]]
# min = [0, 0, 0]

[mould]
wall_mm = 12   # stiff
`

func TestEditedKeepsCommentsAndOrder(t *testing.T) {
	got, err := edited([]byte(sample), []setting{
		{"mould.wall_mm", 14.5}, {"show.colours", []string{"#ffbf00"}}, {"opening.direction", []float64{0, 0, 1}}, {"mould.keys", 3}, {"show.grow_deg", nil},
	})
	if err != nil {
		t.Fatal(err)
	}
	want := strings.NewReplacer("wall_mm = 12", "keys = 3\nwall_mm = 14.5", "[\"#d04020\",\n  \"#112233\"]", "['#ffbf00']", "grow_deg = 0\n", "").Replace(sample) + "\n[opening]\ndirection = [0.0, 0.0, 1.0]\n"
	// The TOML library may quote either way; what counts is the line it stands on.
	if s := strings.ReplaceAll(string(got), `"#ffbf00"`, `'#ffbf00'`); s != want {
		t.Errorf("got\n%s\nwant\n%s", s, want)
	}
	f, err := job.Parse("job.toml", got)
	if err != nil {
		t.Fatal(err)
	}
	if f.Mould.WallMM != 14.5 || len(f.Show.Colours) != 1 || len(f.Opening.Direction) != 3 {
		t.Errorf("read back: %+v", f)
	}
}

func TestEditedRefusesWhatIsNoSetting(t *testing.T) {
	for _, s := range []setting{{"wall", 1}, {"mould.wall mm", 1}, {"mould.wall_mm\nx", 1}, {"mould.wall_mm", map[string]any{"a": 1}}, {"", 1}} {
		if _, err := edited([]byte(sample), []setting{s}); err == nil {
			t.Errorf("%q = %v was taken", s.key, s.value)
		}
	}
	_, err := edited([]byte("format = 1\n[part\n"), []setting{{"mould.wall_mm", 1}})
	var fe *job.FileError
	if !errors.As(err, &fe) || fe.Line != 2 {
		t.Errorf("a broken file gives %v, want its line 2", err)
	}
}

func TestReplaceList(t *testing.T) {
	rows := []string{"[[show.box]]\nmin = [0.0, 0.0, 0.0]\nmax = [1.0, 1.0, 1.0]", "[[show.box]]\nmin = [2.0, 0.0, 0.0]\nmax = [3.0, 1.0, 1.0]"}
	two, err := replaceList([]byte(sample), "show.box", rows)
	if err != nil {
		t.Fatal(err)
	}
	f, err := job.Parse("job.toml", two)
	if err != nil || len(f.Show.Boxes) != 2 || f.Show.Boxes[1].Min[0] != 2 {
		t.Fatalf("two boxes: %+v, %v\n%s", f, err, two)
	}
	one, err := replaceList(two, "show.box", rows[1:])
	if err != nil {
		t.Fatal(err)
	}
	if f, err = job.Parse("job.toml", one); err != nil || len(f.Show.Boxes) != 1 || f.Show.Boxes[0].Min[0] != 2 {
		t.Fatalf("one box: %+v, %v\n%s", f, err, one)
	}
	none, err := replaceList(one, "show.box", nil)
	if err != nil {
		t.Fatal(err)
	}
	if strings.TrimSpace(string(none)) != strings.TrimSpace(sample) {
		t.Errorf("taking the boxes out again leaves\n%s", none)
	}
}

// Whatever is set reads back as set, and setting twice is setting once.
func TestEditedReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		keys := []string{"mould.wall_mm", "show.grow_deg", "material.pigment", "part.name", "shot.overfill_pct"}
		key := rapid.SampledFrom(keys).Draw(t, "key")
		var v any = rapid.Float64Range(0, 90).Draw(t, "number")
		if key == "material.pigment" || key == "part.name" {
			v = rapid.StringMatching(`[a-z"'#\\\[\]= ]{0,12}`).Draw(t, "text")
		}
		once, err := edited([]byte(sample), []setting{{key, v}})
		if err != nil {
			t.Fatal(err)
		}
		twice, err := edited(once, []setting{{key, v}})
		if err != nil {
			t.Fatal(err)
		}
		if string(once) != string(twice) {
			t.Fatalf("setting twice differs:\n%s\n%s", once, twice)
		}
		var back map[string]map[string]any
		if err := toml.Unmarshal([]byte(strings.Replace(string(once), "format = 1", "", 1)), &back); err != nil {
			t.Fatal(err)
		}
		table, name, _ := strings.Cut(key, ".")
		if got := back[table][name]; got != v {
			t.Fatalf("%s = %v reads back as %v", key, v, got)
		}
	})
}
