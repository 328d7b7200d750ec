"""One address: a list of records in, the same records out."""

from __future__ import annotations

from typing import Any

from django.urls import include, path
from rest_framework import routers, serializers, viewsets

from tests.bench.stock.models import DormantRecord


class DormantRecordSerializer(serializers.ModelSerializer[DormantRecord]):
    """Every column."""

    class Meta:
        model = DormantRecord
        fields = "__all__"


class DormantRecordViewSet(viewsets.ModelViewSet[DormantRecord]):
    """Takes one record, or a list."""

    queryset = DormantRecord._default_manager.all()
    serializer_class = DormantRecordSerializer

    def get_serializer(self, *args: Any, **kwargs: Any) -> Any:
        many = isinstance(kwargs.get("data"), list)
        return super().get_serializer(*args, **kwargs, **({"many": True} if many else {}))


router = routers.DefaultRouter()
router.register("dormant-records", DormantRecordViewSet)
urlpatterns = [path("", include(router.urls))]
