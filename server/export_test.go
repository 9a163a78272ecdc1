package server

// Routes are all routes there are, for the table of who may go where.
func (m *Main) Routes() (out []string) {
	for _, r := range m.app.GetRoutes(true) {
		if r.Method != "HEAD" {
			out = append(out, r.Method+" "+r.Path)
		}
	}
	return out
}
