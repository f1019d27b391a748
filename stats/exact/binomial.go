package exact

// BinomialTwoSided returns the exact two-sided p-value of x successes in n
// trials against success probability p0.
func BinomialTwoSided(x, n int64, p0 float64) (float64, error) { return 0, nil }

// ClopperPearson returns central exact limits.
func ClopperPearson(x, n int64, level float64) (low, high float64, err error) { return 0, 0, nil }
