package analysis

// Answer is Run without what stands beside the headline, for simulations.
func Answer(in Input, s Settings) (Result, error) {
	c, err := begin(in, s)
	if err != nil {
		return Result{}, err
	}
	for _, step := range steps {
		if err := step.do(c); err != nil || step.name == "headline" {
			return c.r, err
		}
	}
	return c.r, nil
}
