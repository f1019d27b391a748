package report

import (
	"strconv"

	"evenrig/service/analysis"
)

// mixedRow is the model's own answer, with the limits of its profile where they could be had.
func mixedRow(m analysis.MixedModel, r analysis.Result) methodRow {
	row := methodRow{What: "Model of all fish, anglers differing", Speaks: speaks(r, analysis.MixedModelProfile)}
	if m.Status != analysis.Converged {
		row.Share, row.Effect, row.P, row.Notes = Missing, Missing, Missing, []string{fitStatus(m.Status)}
		return row
	}
	row.Share, row.Effect, row.P = Share100(m.Share, m.ShareLow, m.ShareHigh), effect(m.LogOdds, m.Low, m.High, m.ShareLow, m.ShareHigh), PValue(m.P)
	row.Notes = []string{sentence(VaryName(m.Vary))}
	if m.ProfileDF != nil {
		_, low, high := answerOf{m.LogOdds, m.ProfileLow, m.ProfileHigh}.shares()
		row.Share, row.Effect, row.P = Share100(m.Share, low, high), effect(m.LogOdds, m.ProfileLow, m.ProfileHigh, low, high), PValue(m.ProfileP)
		row.Notes = append(row.Notes, "The usual interval by its standard error: "+Interval100(m.ShareLow, m.ShareHigh)+".")
	}
	if m.AverageShare != nil {
		row.Notes = append(row.Notes, "Averaged over anglers, outings and both ways round: "+OutOf100(m.AverageShare)+" of 100.")
	}
	return row
}

func fitStatus(status analysis.FitStatus) string {
	switch status {
	case analysis.Separated:
		return "No answer from it: one fly or one position was always taken, so its numbers would run away."
	case analysis.NoMaximum:
		return "No answer from it: the spread between anglers runs away with so few fish."
	case analysis.NotIdentified:
		return "No answer from it: these fish cannot tell two of its terms apart."
	case analysis.NotConverged:
		return "No answer from it: the search for the best fit stopped early."
	case analysis.NotFitted:
		return "Not fitted: it needs two anglers and fish both ways round."
	default:
		return sentence(spaced(string(status)))
	}
}

// mixedFacts are the model's further numbers.
func mixedFacts(m *analysis.MixedModel, n names) []fact {
	if m == nil || m.Status != analysis.Converged {
		return nil
	}
	list := []fact{
		{"Pattern effect θ, standard error", Number(m.LogOdds, 3) + ", " + Number(m.StdError, 3)},
		{"Position effect β, standard error", Number(m.PositionLogOdds, 3) + ", " + Number(m.PositionStdError, 3) +
			": with the patterns alike the " + n.Lower + " would get " + OutOf100(expit(m.PositionLogOdds)) + " of 100"},
		{"Anglers differ in the pattern effect by (SD)", spread(m.SDPattern)},
	}
	if m.SDPatternHigh != nil {
		list = append(list, fact{"The most they may differ by (SD, upper limit)", Number(m.SDPatternHigh, 3)})
	}
	if m.SDPosition != nil {
		list = append(list, fact{"Anglers differ in the position effect by (SD)", spread(m.SDPosition)})
	}
	if m.SDOuting != nil {
		list = append(list, fact{"Days differ by (SD)", spread(m.SDOuting)})
	}
	if m.Correlation != nil {
		list = append(list, fact{"Correlation of the two", Number(m.Correlation, 2)})
	}
	list = append(list, fact{"Interval of θ by its standard error", NumberInterval(m.Low, m.High, m.ShareLow, m.ShareHigh, 3)})
	if m.ProfileDF != nil {
		_, low, high := answerOf{m.LogOdds, m.ProfileLow, m.ProfileHigh}.shares()
		anglers := *m.ProfileDF + 1
		list = append(list, fact{"Interval of θ by the profile of the likelihood", NumberInterval(m.ProfileLow, m.ProfileHigh, low, high, 3) +
			", its cut made as for " + Number(&anglers, 1) + " anglers with as many fish each"})
	}
	if m.BoundaryP != nil {
		list = append(list, fact{"Whether anglers differ in the pattern effect (p)", PValue(m.BoundaryP)})
	}
	return append(list, fact{"Log likelihood, by " + integration(m.Points), Number(m.LogLikelihood, 3)})
}

// integration names how the anglers' leanings were integrated out.
func integration(points int) string {
	if points == 1 {
		return "Laplace approximation"
	}
	return "adaptive quadrature, " + strconv.Itoa(points) + " points a dimension"
}

func spread(sd *float64) string {
	if sd != nil && *sd == 0 {
		return "0: these fish show no spread of their own, which does not say that there is none"
	}
	return Number(sd, 3)
}
