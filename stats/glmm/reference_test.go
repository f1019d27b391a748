package glmm

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"evenrig/stats/stattest"
)

// Tolerances against values that other code computed to 7 or 8 digits.
const (
	coefTolerance = 1e-6
	errorRelative = 1e-4
	logTolerance  = 1e-6
)

type ownFit struct {
	Fixef  map[string]float64 `json:"fixef"`
	SE     map[string]float64 `json:"se"`
	Vcov   [][]float64        `json:"vcov"`
	SD     map[string]float64 `json:"sd"`
	LogLik float64            `json:"logLik"`
	Points int                `json:"nodes_per_dimension"`
}

type centreRow struct {
	Centre string  `json:"center"`
	X      float64 `json:"x"`
	Y      int     `json:"y"`
	N      int     `json:"n"`
}

type binomialReference struct {
	Cbpp struct {
		Data []struct {
			Herd      string `json:"herd"`
			Period    int    `json:"period"`
			Incidence int    `json:"incidence"`
			Size      int    `json:"size"`
		} `json:"data"`
		LogBinomial float64 `json:"log_binomial_coefficients"`
		Fits        struct {
			One      ownFit `json:"own_agq_1"`
			Five     ownFit `json:"own_agq_5"`
			Eleven   ownFit `json:"own_agq_11"`
			TwentyF  ownFit `json:"own_agq_25"`
			Hundred  ownFit `json:"own_agq_101"`
			TMBModes []struct {
				Group string  `json:"grp"`
				Value float64 `json:"condval"`
				SD    float64 `json:"condsd"`
			} `json:"glmmTMB_modes"`
			LmeModes []struct {
				Level string  `json:"level"`
				Mode  float64 `json:"mode_Intercept"`
				SD    float64 `json:"condsd_Intercept"`
			} `json:"lme4_nAGQ_1_modes"`
		} `json:"fits"`
	} `json:"cbpp"`
	BeitlerLandis    centreReference `json:"beitler_landis"`
	BeitlerLandisRig centreReference `json:"beitler_landis_as_rig_trial"`
}

type centreReference struct {
	Data []centreRow                  `json:"data"`
	Fits map[string]map[string]ownFit `json:"fits"`
}

func logChoose(n, k int) float64 {
	lg := func(x int) float64 { v, _ := math.Lgamma(float64(x) + 1); return v }
	return lg(n) - lg(k) - lg(n-k)
}

func compareFit(t *testing.T, got *Result, want ownFit, names []string, sdNames []string, constant float64) {
	t.Helper()
	for i, name := range names {
		stattest.Absolute(t, name, got.Coef[i], want.Fixef[name], coefTolerance)
		stattest.Relative(t, "SE of "+name, got.StdErr[i], want.SE[name], errorRelative)
		for j := range names {
			size := want.SE[name] * want.SE[names[j]]
			stattest.Absolute(t, fmt.Sprintf("covariance %d %d", i, j), got.Vcov[i][j], want.Vcov[i][j], 2*errorRelative*size)
		}
	}
	for i, name := range sdNames {
		stattest.Absolute(t, "SD "+name, []float64{got.SDPattern, got.SDPosition}[i], want.SD[name], 2e-6)
	}
	stattest.Absolute(t, "log-likelihood", got.LogLikelihood, want.LogLik-constant, logTolerance)
}

func cbppRows(t *testing.T) ([]Row, *binomialReference) {
	var ref binomialReference
	stattest.Load(t, "glmm/glmm_binomial.json", &ref)
	var rows []Row
	for _, d := range ref.Cbpp.Data {
		x := []float64{1, 0, 0, 0}
		if d.Period > 1 {
			x[d.Period-1] = 1
		}
		var herd int
		fmt.Sscan(d.Herd, &herd)
		rows = append(rows, Row{Group: herd, Y: d.Incidence, N: d.Size, X: x, U: 1})
	}
	return rows, &ref
}

// Contagious bovine pleuropneumonia: Lesnoff et al. (2004) Vet. Res. 35:225.
func TestCbpp(t *testing.T) {
	rows, ref := cbppRows(t)
	f := &ref.Cbpp.Fits
	for _, want := range []ownFit{f.One, f.Five, f.Eleven, f.TwentyF, f.Hundred} {
		t.Run(fmt.Sprint(want.Points), func(t *testing.T) {
			got, err := Fit(rows, Options{Vary: VaryPattern, Points: want.Points})
			if err != nil {
				t.Fatal(err)
			}
			compareFit(t, got, want, []string{"(Intercept)", "period2", "period3", "period4"}, []string{"intercept"}, ref.Cbpp.LogBinomial)
			if got.Singular || len(got.Groups) != 15 {
				t.Errorf("singular %v, %d groups", got.Singular, len(got.Groups))
			}
		})
	}
	// Conditional modes: with the parameters held fixed by one package, with their
	// uncertainty by the other. Both are known to about 5e-7.
	got, err := Fit(rows, Options{Vary: VaryPattern, Points: 1})
	if err != nil {
		t.Fatal(err)
	}
	byLabel := map[string]GroupEffect{}
	for _, g := range got.Groups {
		byLabel[fmt.Sprint(g.Group)] = g
	}
	for _, m := range f.LmeModes {
		stattest.Absolute(t, "mode of herd "+m.Level, byLabel[m.Level].U, m.Mode, 1e-6)
		stattest.Relative(t, "conditional SD of herd "+m.Level, byLabel[m.Level].UCondSD, m.SD, errorRelative)
	}
	for _, m := range f.TMBModes {
		stattest.Absolute(t, "mode of herd "+m.Group, byLabel[m.Group].U, m.Value, 2e-6)
		stattest.Relative(t, "prediction SE of herd "+m.Group, byLabel[m.Group].USE, m.SD, errorRelative)
	}
}

// Beitler & Landis (1985) Biometrics 41:991 (counts from memory): eight clinics, with
// a varying intercept alone and with an independent varying slope.
func TestBeitlerLandis(t *testing.T) {
	var ref binomialReference
	stattest.Load(t, "glmm/glmm_binomial.json", &ref)
	for name, want := range ref.BeitlerLandis.Fits["int"] {
		t.Run("intercept/"+strings.TrimPrefix(name, "own_agq_"), func(t *testing.T) {
			checkCentres(t, ref.BeitlerLandis.Data, VaryPattern, want, []string{"intercept"})
		})
	}
	for name, want := range ref.BeitlerLandis.Fits["diag"] {
		t.Run("slope/"+strings.TrimPrefix(name, "own_agq_"), func(t *testing.T) {
			checkCentres(t, ref.BeitlerLandis.Data, VaryPatternPosition, want, []string{"intercept", "x"})
		})
	}
}

func centreRows(data []centreRow) (rows []Row, constant float64) {
	for _, d := range data {
		var centre int
		fmt.Sscan(d.Centre, &centre)
		rows = append(rows, Row{Group: centre, Y: d.Y, N: d.N, X: []float64{1, d.X}, U: 1, V: d.X})
		constant += logChoose(d.N, d.Y)
	}
	return rows, constant
}

func centreCells(data []centreRow) (cells []Cell, constant float64) {
	for _, d := range data {
		var centre int
		fmt.Sscan(d.Centre, &centre)
		cells = append(cells, Cell{Angler: centre, TestLower: d.X > 0, Test: d.Y, Control: d.N - d.Y})
		constant += logChoose(d.N, d.Y)
	}
	return cells, constant
}

func checkCentres(t *testing.T, data []centreRow, vary Vary, want ownFit, sdNames []string) {
	t.Helper()
	rows, constant := centreRows(data)
	got, err := Fit(rows, Options{Vary: vary, Points: want.Points})
	if err != nil {
		t.Fatal(err)
	}
	compareFit(t, got, want, []string{"(Intercept)", "x"}, sdNames, constant)
}

// The same clinics read as a rig trial: θ is the reference's intercept, its slope on
// ±½ is 2β and the slope's SD 2·sd_position.
func TestBeitlerLandisAsTrial(t *testing.T) {
	var ref binomialReference
	stattest.Load(t, "glmm/glmm_binomial.json", &ref)
	cells, constant := centreCells(ref.BeitlerLandisRig.Data)
	for structure, vary := range map[string]Vary{"int": VaryPattern, "diag": VaryPatternPosition} {
		for name, want := range ref.BeitlerLandisRig.Fits[structure] {
			t.Run(structure+"/"+strings.TrimPrefix(name, "own_agq_"), func(t *testing.T) {
				got, err := FitTrial(cells, Options{Vary: vary, Points: want.Points})
				if err != nil {
					t.Fatal(err)
				}
				stattest.Absolute(t, "theta", got.Theta, want.Fixef["(Intercept)"], coefTolerance)
				stattest.Relative(t, "SE of theta", got.ThetaSE, want.SE["(Intercept)"], errorRelative)
				stattest.Absolute(t, "beta", got.Beta, want.Fixef["x"]/2, coefTolerance)
				stattest.Relative(t, "SE of beta", got.BetaSE, want.SE["x"]/2, errorRelative)
				stattest.Absolute(t, "sd_pattern", got.SDPattern, want.SD["intercept"], 2e-6)
				stattest.Absolute(t, "sd_position", got.SDPosition, want.SD["x"]/2, 2e-6)
				stattest.Absolute(t, "log-likelihood", got.LogLikelihood, want.LogLik-constant, logTolerance)
				if singular := structure == "int"; got.Singular != singular || (singular && got.SDPattern != 0) {
					t.Errorf("singular %v, sd_pattern %v", got.Singular, got.SDPattern)
				}
			})
		}
	}
}

type outingData struct {
	Data []struct {
		Angler string `json:"angler"`
		Outing string `json:"outing"`
		C      int    `json:"c"`
		N      int    `json:"n"`
		Y      int    `json:"y"`
	} `json:"data"`
}

func (d outingData) cells() (cells []Cell) {
	for _, r := range d.Data {
		var angler, outing int
		fmt.Sscanf(strings.TrimPrefix(r.Angler, "A"), "%d", &angler)
		fmt.Sscanf(r.Outing[len(r.Outing)-1:], "%d", &outing)
		cells = append(cells, Cell{angler, outing, r.C == 1, r.Y, r.N - r.Y})
	}
	return cells
}

// Anglers with outings, invented data: the joint Laplace approximation of two
// packages, which agree with each other to about 1e-6.
func TestOutings(t *testing.T) {
	type packageFit struct {
		Theta  float64            `json:"theta"`
		Beta   float64            `json:"beta"`
		SD     map[string]float64 `json:"sd"`
		SE     float64            `json:"std_error_theta"`
		LogLik float64            `json:"log_likelihood_single_catches"`
	}
	type modelRef struct {
		Laplace map[string]packageFit `json:"joint_laplace"`
		Exact   struct {
			Estimate struct {
				Theta      float64 `json:"theta"`
				Beta       float64 `json:"beta"`
				SDPattern  float64 `json:"sd_pattern"`
				SDPosition float64 `json:"sd_position"`
				SDOuting   float64 `json:"sd_outing"`
			} `json:"estimate"`
			ThetaSE float64 `json:"std_error_theta"`
			BetaSE  float64 `json:"std_error_beta"`
			LogLik  float64 `json:"log_likelihood_single_catches"`
		} `json:"exact"`
	}
	type dataset struct {
		outingData
		PatternOuting         modelRef `json:"pattern_outing"`
		PatternPositionOuting modelRef `json:"pattern_position_outing"`
	}
	var ref struct {
		Boundary dataset `json:"boundary"`
		Interior dataset `json:"interior"`
	}
	stattest.Load(t, "glmm/glmm_outing.json", &ref)
	for name, d := range map[string]dataset{"boundary": ref.Boundary, "interior": ref.Interior} {
		cells := d.cells()
		for vary, model := range map[Vary]modelRef{VaryPatternOuting: d.PatternOuting, VaryPatternPositionOuting: d.PatternPositionOuting} {
			t.Run(name+"/"+vary.String(), func(t *testing.T) {
				got, err := FitTrial(cells, Options{Vary: vary, Points: 1})
				if err != nil {
					t.Fatal(err)
				}
				for program, want := range model.Laplace {
					stattest.Absolute(t, program+" theta", got.Theta, want.Theta, 2e-6)
					stattest.Absolute(t, program+" beta", got.Beta, want.Beta, 2e-6)
					stattest.Relative(t, program+" SE of theta", got.ThetaSE, want.SE, errorRelative)
					stattest.Absolute(t, program+" log-likelihood", got.LogLikelihood, want.LogLik, logTolerance)
					for key, sd := range want.SD {
						mine := got.SDOuting
						switch key {
						case "angler", "angler (Intercept)", "angler.1 (Intercept)":
							mine = got.SDPattern
						case "angler.1", "angler c":
							mine = got.SDPosition
						}
						stattest.Absolute(t, program+" SD "+key, mine, sd, 6e-6)
					}
				}
				if (name == "boundary") != got.Singular {
					t.Errorf("singular %v", got.Singular)
				}
				// The exact likelihood, by a nested trapezoidal rule that the source checked on a
				// grid 1.5 times as coarse (differences below 5e-8) and maximised to a gradient
				// below 2e-8, its standard errors from numerical second differences. 25 points reach it;
				// with 7, the default, every estimate is within 2e-5, a ten-thousandth of its SE.
				want := model.Exact
				for points, tolerance := range map[int]float64{25: 2e-7, 15: 5e-7, 0: 2e-5} {
					got := mustFit(t, cells, Options{Vary: vary, Points: points})
					stattest.Absolute(t, fmt.Sprint(points, " exact theta"), got.Theta, want.Estimate.Theta, tolerance)
					stattest.Absolute(t, fmt.Sprint(points, " exact beta"), got.Beta, want.Estimate.Beta, tolerance)
					stattest.Absolute(t, fmt.Sprint(points, " exact sd_pattern"), got.SDPattern, want.Estimate.SDPattern, tolerance)
					stattest.Absolute(t, fmt.Sprint(points, " exact sd_position"), got.SDPosition, want.Estimate.SDPosition, tolerance)
					stattest.Absolute(t, fmt.Sprint(points, " exact sd_outing"), got.SDOuting, want.Estimate.SDOuting, tolerance)
					stattest.Relative(t, fmt.Sprint(points, " exact SE of theta"), got.ThetaSE, want.ThetaSE, max(5e-6, tolerance))
					stattest.Relative(t, fmt.Sprint(points, " exact SE of beta"), got.BetaSE, want.BetaSE, max(5e-6, tolerance))
					stattest.Absolute(t, fmt.Sprint(points, " exact log-likelihood"), got.LogLikelihood, want.LogLik, max(1e-7, 3*tolerance))
				}
			})
		}
	}
}
