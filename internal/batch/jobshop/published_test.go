package jobshop

import (
	"bytes"
	"context"
	"os"
	"testing"
)

// optima of the published instances. All are proven; as listed in the OR-Library's notes and, for
// those open there, in the later literature (Applegate & Cook 1991; la29: 1152, Martin 1996).
var optima = map[string]int64{
	"ft06": 55, "ft10": 930, "ft20": 1165,
	"la01": 666, "la02": 655, "la03": 597, "la04": 590, "la05": 593,
	"la06": 926, "la07": 890, "la08": 863, "la09": 951, "la10": 958,
	"la11": 1222, "la12": 1039, "la13": 1150, "la14": 1292, "la15": 1207,
	"la16": 945, "la17": 784, "la18": 848, "la19": 842, "la20": 902,
	"la21": 1046, "la22": 927, "la23": 1032, "la24": 935, "la25": 977,
	"la26": 1218, "la27": 1235, "la28": 1216, "la29": 1152, "la30": 1355,
	"la31": 1784, "la32": 1850, "la33": 1719, "la34": 1721, "la35": 1888,
	"la36": 1268, "la37": 1397, "la38": 1196, "la39": 1233, "la40": 1222,
}

func published(t testing.TB) map[string]*Instance {
	t.Helper()
	b, err := os.ReadFile("testdata/published.txt")
	if err != nil {
		t.Fatal(err)
	}
	all, err := ReadAll(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]*Instance{}
	for _, in := range all {
		if _, ok := optima[in.Name]; !ok {
			t.Fatalf("no optimum for %q", in.Name)
		}
		out[in.Name] = in
	}
	return out
}

func TestPublishedOptima(t *testing.T) {
	all := published(t)
	for _, name := range []string{"ft06", "la01", "la02", "la03", "la04", "la05"} {
		t.Run(name, func(t *testing.T) {
			in := all[name]
			res, err := Solve(context.Background(), in, Options{Iterations: 300_000})
			if err != nil {
				t.Fatal(err)
			}
			if err := Verify(in, res.Starts); err != nil {
				t.Fatal(err)
			}
			if res.Makespan != optima[name] || Makespan(in, res.Starts) != res.Makespan {
				t.Errorf("makespan %d, published optimum %d", res.Makespan, optima[name])
			}
			if res.LowerBound > optima[name] {
				t.Errorf("bound %d above the optimum %d", res.LowerBound, optima[name])
			}
			t.Logf("%d iterations, bound %d", res.Iterations, res.LowerBound)
		})
	}
}
