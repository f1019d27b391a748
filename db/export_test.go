package db

// URL returns the address of the store's database, for tests that look beneath it.
func (s *Store) URL() string { return s.pool.Config().ConnString() }
