package trial

import "fmt"

// Caution is one piece of the usual care that anglers are shown when they join, at an outing's start and under every
// report. None of it is legal or veterinary advice: local law, season, byelaws, licence, permit and the water owner's
// rules come first, and work that needs a licence is left to licensed people.
type Caution struct {
	Topic  string `json:"topic"`
	Text   string `json:"text"`
	Source string `json:"source"`
}

// Cautions returns the usual cautions, with the water temperatures (degrees C) at which a trial takes extra care and
// stops fishing.
func Cautions(cautionC, stopC float64) []Caution {
	return []Caution{
		{
			"Local rules first",
			"Local law, season, byelaws, licence and permit, and the water owner's rules come before this rule sheet; the number of flies, droppers, " +
				"barbs and hook types is restricted on some waters. Holding a licence is each angler's own duty. This is no legal and no veterinary " +
				"advice, and anything that needs a licence (tagging, sampling tissue, electric fishing, keeping fish for observation) is left to licensed people.",
			"common practice, no source",
		},
		{
			"Warm water",
			fmt.Sprintf("From %g °C of water temperature take extra care: fish early or late, play fish quickly, keep them in the water. From %g °C stop fishing "+
				"for trout, salmon and grayling. Measure; do not guess.", cautionC, stopC),
			"DAERA and Natural Resources Wales guidance on angling in warm water; Boyd et al. 2010, North American Journal of Fisheries Management 30:898-907; " +
				"grayling: Pinder et al. 2019, Fisheries Research 211:169-175",
		},
		{
			"Air",
			"Unhook in the water when you can. Aim for no time in the air, at most 10 seconds, never more than 30.",
			"Cook et al. 2015, Fisheries 40(9); Ferguson & Tufts 1992, Canadian Journal of Fisheries and Aquatic Sciences 49:1157-1162",
		},
		{
			"Handling",
			"Wet hands, rubber or knotless net, hold the fish upright facing the flow until it swims off. Cut the line when a fish is hooked deep. Barbless " +
				"hooks unhook more easily and mean less handling.",
			"Brownscombe et al. 2017, Fisheries Research 186:693; Schill & Scarpella 1997, North American Journal of Fisheries Management 17:873-881; " +
				"deep hooks: North American Journal of Fisheries Management 32:869-874 (2012)",
		},
		{
			"Thunder",
			"When you hear thunder stop at once, leave the water, put the rod down and go into a building or a hard-topped car; wait 30 minutes after the last thunder.",
			"advice of national weather services",
		},
		{
			"Wading",
			"Wear a belt and buoyancy, use a staff, never wade deeper than the thigh alone, watch for rising water and dam releases, tell someone where you are. " +
				"Stand still to log a fish: never work a phone while you move in water.",
			"common practice, no source",
		},
		{
			"Hooks and power lines",
			"Glasses and hat on, forceps to hand, and keep the rod well clear of overhead power lines.",
			"common practice, no source",
		},
		{
			"Between waters",
			"Check, clean and dry tackle, net and clothing before going to another water.",
			"public biosecurity campaigns",
		},
		{
			"Dead or sick fish, pollution",
			"Leave it, note where and when, and tell the local authority's report line.",
			"common practice, no source",
		},
	}
}
