package assess

// doubt marks readings that do not fit.
func (w *work) doubt() {}
