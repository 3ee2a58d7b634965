package batch

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"

	"mouldwright/internal/job"
)

// FileName is the name of the file in a batch's folder.
const FileName = "batch.toml"

// Format is the version of the file's layout.
const Format = 1

// file is batch.toml as it is written; docs/batch.md explains every setting.
type file struct {
	Format int    `toml:"format"`
	Name   string `toml:"name"`
	Start  string `toml:"start"`
	Days   int    `toml:"days"`
	Shop   struct {
		Operators   int      `toml:"operators"`
		ShelfPlaces int      `toml:"shelf_places"`
		Closed      []string `toml:"closed"`
	} `toml:"shop"`
	Shifts    []shiftFile `toml:"shift"`
	Operators []struct {
		Name     string      `toml:"name"`
		Shifts   []shiftFile `toml:"shift"`
		Away     []string    `toml:"away"`
		Calendar string      `toml:"calendar"`
	} `toml:"operator"`
	Learn struct {
		Times bool `toml:"times"`
		Scrap bool `toml:"scrap"`
	} `toml:"learn"`
	Mixing struct {
		CapacityG float64 `toml:"capacity_g"`
		PurgeMin  float64 `toml:"purge_min"`
	} `toml:"mixing"`
	Pot *struct {
		Count       int     `toml:"count"`
		DiameterMM  float64 `toml:"diameter_mm"`
		HeightMM    float64 `toml:"height_mm"`
		ClearanceMM float64 `toml:"clearance_mm"`
		Price       float64 `toml:"price"`
	} `toml:"pot"`
	Vacuum *struct {
		Count     int     `toml:"count"`
		CapacityG float64 `toml:"capacity_g"`
	} `toml:"vacuum"`
	Tools []struct {
		Name      string    `toml:"name"`
		Count     int       `toml:"count"`
		Cavities  int       `toml:"cavities"`
		BoxMM     []float64 `toml:"box_mm"`
		LifeShots int       `toml:"life_shots"`
		Used      []int     `toml:"used_shots"`
		Job       string    `toml:"job"`
		MouldIDs  []string  `toml:"mould_ids"`
		Cost      float64   `toml:"cost"`
	} `toml:"tool"`
	Recipes  []recipeFile  `toml:"recipe"`
	Versions []versionFile `toml:"version"`
	Material []struct {
		Name      string `toml:"name"`
		ShelfDays int    `toml:"shelf_days"`
		Kits      []struct {
			MassG float64 `toml:"mass_g"`
			Price float64 `toml:"price"`
		} `toml:"kit"`
	} `toml:"material"`
	Money struct {
		Currency    string  `toml:"currency"`
		LabourPerH  float64 `toml:"labour_per_h"`
		BenchPerDay float64 `toml:"bench_per_day"`
		CoatPerShot float64 `toml:"coat_per_shot"`
		CupPerMix   float64 `toml:"cup_per_mix"`
		PotPerH     float64 `toml:"pot_per_h"`
		VacuumPerH  float64 `toml:"vacuum_per_h"`
		OverheadPct float64 `toml:"overhead_pct"`
		Moulds      string  `toml:"moulds"`
		WastePct    float64 `toml:"waste_pct"`
		MarginPct   float64 `toml:"margin_pct"`
	} `toml:"money"`
	Consumables []struct {
		Name   string  `toml:"name"`
		Unit   string  `toml:"unit"`
		Amount float64 `toml:"amount"`
		Per    string  `toml:"per"`
		Price  float64 `toml:"price"`
	} `toml:"consumable"`
	Quote struct {
		From       []string `toml:"from"`
		To         []string `toml:"to"`
		Logo       string   `toml:"logo"`
		Number     string   `toml:"number"`
		Date       string   `toml:"date"`
		ValidDays  int      `toml:"valid_days"`
		TaxName    string   `toml:"tax_name"`
		TaxPct     float64  `toml:"tax_pct"`
		MinOrder   float64  `toml:"min_order"`
		Quantities []int    `toml:"quantities"`
		Terms      []string `toml:"terms"`
	} `toml:"quote"`
	Ways []struct {
		Name         string  `toml:"name"`
		Moulds       int     `toml:"moulds"`
		Cavities     int     `toml:"cavities"`
		MouldCost    float64 `toml:"mould_cost"`
		LifeShots    int     `toml:"life_shots"`
		MasterCost   float64 `toml:"master_cost"`
		MasterMoulds int     `toml:"master_moulds"`
		HandMin      float64 `toml:"hand_min"`
		ShotG        float64 `toml:"shot_g"`
		RoundsPerDay float64 `toml:"rounds_per_day"`
	} `toml:"way"`
}

type shiftFile struct {
	Days []string `toml:"days"`
	From string   `toml:"from"`
	To   string   `toml:"to"`
}

type recipeFile struct {
	Name         string   `toml:"name"`
	Material     string   `toml:"material"`
	ShotG        *float64 `toml:"shot_g"`
	CoatMin      float64  `toml:"coat_min"`
	DryMin       float64  `toml:"dry_min"`
	CoatValidMin float64  `toml:"coat_valid_min"`
	MixMin       float64  `toml:"mix_min"`
	DegasMin     float64  `toml:"degas_min"`
	PourMin      float64  `toml:"pour_min"`
	CloseMin     float64  `toml:"close_min"`
	PotLifeMin   *float64 `toml:"pot_life_min"`
	LoadMin      float64  `toml:"load_min"`
	PressureMin  float64  `toml:"pressure_min"`
	UnloadMin    float64  `toml:"unload_min"`
	CureMin      float64  `toml:"cure_min"`
	DemouldMin   float64  `toml:"demould_min"`
	TrimMin      float64  `toml:"trim_min"`
}

type versionFile struct {
	Name     string  `toml:"name"`
	Colour   string  `toml:"colour"`
	Quantity int     `toml:"quantity"`
	SparePct float64 `toml:"spare_pct"`
	Due      string  `toml:"due"`
	Order    string  `toml:"order"`
	Priority int     `toml:"priority"`
	Tool     string  `toml:"tool"`
	Recipe   string  `toml:"recipe"`
}

// FileError points at the place in a file that is wrong.
type FileError struct {
	Path     string
	Line, At int // from 1; 0 when the whole file is meant
	Key      string
	Words    string
}

func (e *FileError) Error() string {
	where := e.Path
	if e.Line > 0 {
		where = fmt.Sprintf("%s:%d:%d", e.Path, e.Line, e.At)
	}
	if e.Key != "" {
		return fmt.Sprintf("%s: %s: %s", where, e.Key, e.Words)
	}
	return where + ": " + e.Words
}

// Load reads and checks a bench from its file.
func Load(path string) (*Bench, error) {
	src, err := os.ReadFile(path)
	if err != nil {
		if errors.Is(err, os.ErrNotExist) {
			return nil, fmt.Errorf("%s: no such file; docs/batch.md shows one to start from: %w", path, err)
		}
		return nil, fmt.Errorf("read the batch: %w", err)
	}
	return Parse(path, src)
}

// Parse reads a bench from src; path is for messages, and the job folders of its tools are sought from
// the folder of path.
func Parse(path string, src []byte) (*Bench, error) {
	f := &file{}
	if err := decode(path, src, f); err != nil {
		return nil, err
	}
	r := &reader{path: path, src: src, f: f, mouldCosts: map[string]MouldCost{}}
	return r.bench()
}

// decode refuses settings that do not exist, with their place.
func decode(path string, src []byte, into any) error {
	err := toml.NewDecoder(bytes.NewReader(src)).DisallowUnknownFields().Decode(into)
	if err == nil {
		return nil
	}
	var unknown *toml.StrictMissingError
	if errors.As(err, &unknown) && len(unknown.Errors) > 0 {
		e := unknown.Errors[0]
		line, at := e.Position()
		return &FileError{path, line, at, strings.Join(e.Key(), "."), "this setting does not exist; docs/batch.md lists those that do"}
	}
	var bad *toml.DecodeError
	if errors.As(err, &bad) {
		line, at := bad.Position()
		return &FileError{path, line, at, strings.Join(bad.Key(), "."), strings.TrimPrefix(bad.Error(), "toml: ")}
	}
	return &FileError{Path: path, Words: err.Error()}
}

// reader turns the file into a bench, keeping the first thing that is wrong.
type reader struct {
	path string
	src  []byte
	f    *file
	err  error

	jobs     []*job.Report // of each tool; nil without a job
	warnings []string

	mouldCosts map[string]MouldCost // of tools whose cost is their job's
}

// fail notes what is wrong with a key of the n-th table of a kind ("" is the top).
func (r *reader) fail(table string, n int, key, format string, args ...any) {
	if r.err == nil {
		line, at := placeOf(r.src, table, n, key)
		name := key
		if table != "" {
			name = table + "." + key
		}
		r.err = &FileError{r.path, line, at, name, fmt.Sprintf(format, args...)}
	}
}

// placeOf finds a key under the n-th header of a table, or that header.
func placeOf(src []byte, table string, n int, key string) (line, at int) {
	in := table == ""
	header := 0
	for k, text := range strings.Split(string(src), "\n") {
		t := strings.TrimSpace(text)
		if strings.HasPrefix(t, "[") {
			name := strings.Trim(strings.SplitN(t, "#", 2)[0], "[] \t")
			if in && !strings.HasPrefix(name, table+".") {
				break
			}
			if name == table {
				if n == 0 {
					in, header = true, k+1
				}
				n--
			}
			continue
		}
		if name, _, ok := strings.Cut(t, "="); in && ok && strings.TrimSpace(name) == key {
			return k + 1, strings.Index(text, key) + 1
		}
	}
	if header > 0 {
		return header, 1
	}
	return 0, 0
}

// between checks a number.
func (r *reader) between(table string, n int, key string, v, lo, hi float64, unit string) float64 {
	if !(v >= lo && v <= hi) { // also refuses what is no number
		r.fail(table, n, key, "%g is outside %g to %g %s", v, lo, hi, unit)
	}
	return v
}

// span reads minutes as whole seconds.
func (r *reader) span(table string, n int, key string, v, lo float64) int64 {
	const most = 60 * 24 * 60 // 60 days
	return int64(r.between(table, n, key, v, lo, most, "min")*60 + 0.5)
}

const dateLayout = "2006-01-02"

func (r *reader) date(table string, n int, key, text string) time.Time {
	t, err := time.Parse(dateLayout, text)
	if err != nil {
		r.fail(table, n, key, "%q is not a date like \"2026-03-02\"", text)
	}
	return t
}

func (r *reader) clock(table string, n int, key, text string) int64 {
	if text == "24:00" {
		return day
	}
	t, err := time.Parse("15:04", text)
	if err != nil {
		r.fail(table, n, key, "%q is not a time of day like \"08:30\"", text)
	}
	return int64(t.Hour())*3600 + int64(t.Minute())*60
}

var weekdays = map[string]time.Weekday{"mon": time.Monday, "tue": time.Tuesday, "wed": time.Wednesday, "thu": time.Thursday, "fri": time.Friday, "sat": time.Saturday, "sun": time.Sunday}
