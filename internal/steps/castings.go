package steps

import "fmt"

// whichIsWhich is how several castings are told apart, before they are cut off what joins them.
func (k *maker) whichIsWhich(n int) []string {
	switch {
	case len(k.features("gate")) > 0:
		return []string{fmt.Sprintf("Before you cut the %d castings off the runner, write each one's cavity number on it: it is sunk in the lower half beside the gate.", n),
			"Cut at the gates, flush with the casting."}
	case len(k.features("cavity number")) > 0:
		return []string{fmt.Sprintf("Write on each of the %d castings its cavity number, which is sunk beside the cavity, before they get mixed.", n)}
	case len(k.features("sprue")) == n:
		return []string{fmt.Sprintf("Write its cavity number on each of the %d castings before they get mixed: its sprue's in the plan, S1 for cavity 1.", n)}
	}
	return []string{fmt.Sprintf("Write a cavity number on each of the %d castings before they get mixed: by their places in the mould, every time in the same order.", n)}
}
