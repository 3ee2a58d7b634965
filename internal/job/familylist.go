package job

// FamilyName is a kind of mould: what job.toml calls it, and in words.
type FamilyName struct {
	Name  string `json:"name"`
	Words string `json:"words"`
}

// Families lists the kinds of mould that job.toml may name, the one it has when it names none first.
func Families() []FamilyName {
	out := []FamilyName{{familyTwoHalves, "two rigid halves"}}
	for _, f := range families {
		out = append(out, FamilyName{f.name, f.words})
	}
	return out
}
