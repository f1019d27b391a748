package analysis

// Answer is Run without what stands beside the headline, for simulations.
func Answer(in Input, s Settings) (Result, error) {
	c, err := begin(in, s)
	if err != nil {
		return Result{}, err
	}
	if err := c.methods(); err != nil {
		return Result{}, err
	}
	return c.r, c.speak()
}
