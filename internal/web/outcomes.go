package web

var outcomeRoutes = []Route{}
