package web

var matRoutes = []Route{}
