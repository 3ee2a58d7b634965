package material_test

import (
	"fmt"

	"mouldwright/internal/material"
)

// A cavity of 80 mL and a sprue of 10 mL, filled with an epoxy mixed 2:1 by volume.
func ExampleMaterial_Shot() {
	epoxy := material.Material{
		ID: "epoxy", Name: "Epoxy", Family: material.Epoxy, RatioBy: material.ByVolume, RatioTolerancePct: 3,
		Components: []material.Component{
			{Name: "resin", Parts: 2, DensityGPerML: 1.12},
			{Name: "hardener", Parts: 1, DensityGPerML: 0.97},
		},
	}
	shot, err := epoxy.Shot([]material.Volume{{Name: "cavity", VolumeMM3: 80000}, {Name: "sprue", VolumeMM3: 10000}},
		material.ShotOptions{OverfillPct: 5, CupResidueG: 3, ScaleStepG: 0.1})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, d := range shot.Components {
		fmt.Printf("%s: %.1f g\n", d.Name, d.G)
	}
	fmt.Printf("ratio off by %.2f %% of the %.0f %% allowed\n", shot.RatioErrorPct, shot.RatioTolerancePct)
	// Output:
	// resin: 72.7 g
	// hardener: 31.5 g
	// ratio off by 0.06 % of the 3 % allowed
}
