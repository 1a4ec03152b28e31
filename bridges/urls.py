"""Pages of what stands there."""

app_name = "bridges"
urlpatterns = []
