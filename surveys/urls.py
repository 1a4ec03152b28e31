"""Pages of what was seen."""

app_name = "surveys"
urlpatterns = []
