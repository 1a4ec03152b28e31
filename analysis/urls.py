"""Pages that show several rooms' facts together."""

urlpatterns = []
