package web

var ledgerRoutes = []Route{}
