package tooling_test

import (
	"fmt"

	"mouldwright/internal/tooling"
)

func ExampleChooseBolt() {
	b, err := tooling.ChooseBolt(40, tooling.BoltOptions{Thread: "M4"})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(b.Words)
	// Output:
	// M4 × 35 cap screw (ISO 4762), hex nut (ISO 4032), washer (ISO 7089) under the head; hole 4.5 mm (ISO 273 medium), grip 30.3 mm, nut pocket 4.6 mm deep (1.1 mm more than the nut needs, so that a standard length reaches); 3 mm hexagon key
}
