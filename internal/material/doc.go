// Package material holds what a maker knows of a casting or mould material and turns the volumes
// of one shot (one filling of one mould) into what to weigh: mL and g of each component, rounded
// up to the scale's step, with the error that the rounding makes in the mixing ratio.
//
// A Material is one entry of a TOML file. The starting entries (Generic) are typical values, not a
// data sheet, and say so; a maker's own file in the same format is read with ReadFile and laid over
// them with Library.Merge. Reading is strict: an unknown key, a wrong type or an impossible value
// is an error that names file, line and column.
//
// Units are in the names: g, mL, s, °C, mPa·s; percentages are per cent of what the name says.
package material
